"""The smaller papers."""

from __future__ import annotations

from facility.access import Act

PAGES = {"small_papers:papers": Act.SEE, "small_papers:due": Act.SEE, "small_papers:wall": Act.SEE}
