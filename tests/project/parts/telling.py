"""What the record tells others: answers for programs, statements, fitness on a day, my page."""

from __future__ import annotations

from facility.access import Act

OPEN = {"readiness:status", "readiness:status_json"}
PAGES = {
    "readiness:forecast_json": Act.SEE, "readiness:what_if_json": Act.SEE, "readiness:statement": Act.SEE,
    "readiness:me": Act.SEE, "readiness:declare_fit": Act.SEE, "readiness:fit_on": Act.SEE,
}  # fmt: skip
