"""What a plan is worked out from, as text: kept with the plan so that it can be worked out again."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treatments.compute.plan_asking import Asking
from treatments.compute.plan_demand import most_extensions
from treatments.compute.tender import rule_for
from treatments.reference import figures
from treatments.reference.laws import tender_rules

if TYPE_CHECKING:
    from treatments.compute.tables import Table

LONGEST = 200  # of the source of a plan
NUMBER = r"\d+(?:\.\d+)?"
RECKONED = re.compile(
    rf"Reckoned: (?P<table>\S+) v(?P<version>\d+), (?P<patients>\d+) patients?, (?P<tenders>\d+) tenders?"
    rf"(?P<previous> after exposure)?, (?P<dump>no dump|dump), locks (?P<outer>\d+)\+(?P<medical>\d+),"
    rf" (?P<volume>{NUMBER}) acfm(?:, tender (?P<minutes>{NUMBER}) min)?,"
    rf" emergency (?P<emergency>{NUMBER}) min (?P<emergency_volume>{NUMBER}) acfm, reserve (?P<reserve>{NUMBER}) %"
)
PATIENTS = re.compile(r"(\d+)\s+(?:patient|person|people|in training)")
TENDERS = re.compile(r"(\d+)\s+(?:inside\s+)?tender")


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of how a plan was reckoned; ``exact`` if it says so itself, else the party alone is read."""

    asking: Asking
    table: str
    version: int | None
    exact: bool


def suggested(table: Table, patients: int = 1, tenders: int = 1) -> Asking:
    """Return what the page begins with: every extension allowed, and the tenders as after a previous exposure.

    Source: treatments/reference/plans.toml. Where nothing is stated after a previous exposure it is left out.
    """
    rule = rule_for(table.key, tender_rules())
    return Asking(
        patients=patients, tenders=tenders, extensions=most_extensions(table),
        previous=rule is not None and rule.previous_min is not None,
        outer_fills=int(_number("outer_fills")), medical_fills=int(_number("medical_fills")),
        minute_volume=_number("minute_volume"), emergency_minutes=_number("emergency.minutes"),
        emergency_volume=_number("emergency.volume"), reserve_percent=_number("reserve"),
    )  # fmt: skip


def _many(number: int) -> str:
    return "" if number == 1 else "s"


def as_text(table: str, version: int, asking: Asking) -> str:
    """Return what a plan was reckoned from, for its source; empty where it would not fit there."""
    parts = [
        f"Reckoned: {table} v{version}",
        f"{asking.patients} patient{_many(asking.patients)}",
        f"{asking.tenders} tender{_many(asking.tenders)}" + (" after exposure" if asking.previous else ""),
        "dump" if asking.dump else "no dump",
        f"locks {asking.outer_fills}+{asking.medical_fills}",
        f"{asking.minute_volume:g} acfm",
        *([] if asking.tender_minutes is None else [f"tender {asking.tender_minutes:g} min"]),
        f"emergency {asking.emergency_minutes:g} min {asking.emergency_volume:g} acfm",
        f"reserve {asking.reserve_percent:g} %",
    ]
    text = ", ".join(parts)
    return text if len(text) <= LONGEST and RECKONED.fullmatch(text) else ""


def known_of(source: str, party: str, table: Table) -> Known | None:
    """Return what a plan says of its own reckoning, or what its party says; None if neither can be read."""
    found = RECKONED.search(source)
    if found is None:
        return _by_party(party, table)
    said = found.groupdict()
    minutes = said["minutes"]
    asking = Asking(
        patients=int(said["patients"]), tenders=int(said["tenders"]), extensions={},
        previous=bool(said["previous"]), dump=said["dump"] == "dump", outer_fills=int(said["outer"]),
        medical_fills=int(said["medical"]), minute_volume=float(said["volume"]),
        tender_minutes=None if minutes is None else float(minutes), emergency_minutes=float(said["emergency"]),
        emergency_volume=float(said["emergency_volume"]), reserve_percent=float(said["reserve"]),
    )  # fmt: skip
    return Known(asking, said["table"], int(said["version"]), exact=True)


def _by_party(party: str, table: Table) -> Known | None:
    patients, tenders = PATIENTS.search(party), TENDERS.search(party)
    if patients is None and tenders is None:
        return None
    counts = [int(one[1]) if one else 0 for one in (patients, tenders)]
    return Known(suggested(table, *counts), table.key, None, exact=False)


def _number(name: str) -> float:
    return float(figures("plans")[name].number)
