"""What is said of the clock: a page of a site, open to its directors."""

from __future__ import annotations

from facility.access import Act

PAGES = {"box:clock": Act.ACCOUNTS}
