"""The coming 90 days and the what-if."""

from __future__ import annotations

from facility.access import Act

PAGES = {
    "readiness:ahead": Act.SEE, "readiness:ahead_chamber": Act.SEE, "readiness:what_if": Act.SEE,
    "readiness:what_if_chamber": Act.SEE, "readiness:crew_hours": Act.SEE, "readiness:crew_hours_chamber": Act.SEE,
}  # fmt: skip
