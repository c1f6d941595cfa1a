"""What was stated with a record of work, as its page shows it."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as say

from facility.fields import day_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from maintenance.working.kinds import KindOfWork


ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def with_days(text: str) -> str:
    """Return a stored text; a day alone, stored as 2026-11-27, is written as the pages write days."""
    return day_text(date.fromisoformat(text)) if ISO_DAY.fullmatch(text) else text


def shown_lines(computed: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Return label, value and unit of each line that was reckoned."""
    return [(label, with_days(value), unit) for label, value, unit in computed.get("lines", ())]


def shown_readings(readings: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the readings of a record; what runs out on a day has it in the place of a unit."""
    return [{**row, "unit": with_days(row["unit"])} for row in readings]


def shown_details(kind: KindOfWork, details: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return label and text of each detail that was stated, in the order of the form."""
    found = []
    for one in kind.details:
        value = details.get(one.name)
        if value in (None, "", False):
            continue
        words = dict(one.choices)
        text = say("yes") if value is True else str(words.get(value, value)) if isinstance(value, str) else str(value)
        found.append((str(one.label), f"{with_days(text)} {one.unit}".strip()))
    for name, label in (
        ("why_better", say("Why it is better than its readings")),
        ("alone_because", say("Why without a witness")),
    ):
        if details.get(name):
            found.append((label, str(details[name])))
    return found
