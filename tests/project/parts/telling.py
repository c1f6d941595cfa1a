"""What the record tells others: answers for programs, statements, fitness on a day, my page."""

from __future__ import annotations

from facility.access import Act

PAGES = {"readiness:forecast_json": Act.SEE, "readiness:what_if_json": Act.SEE}
