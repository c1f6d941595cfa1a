"""What was stated with a record of work, as its page shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from maintenance.working.kinds import KindOfWork


def shown_details(kind: KindOfWork, details: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return label and text of each detail that was stated, in the order of the form."""
    found = []
    for one in kind.details:
        value = details.get(one.name)
        if value in (None, "", False):
            continue
        words = dict(one.choices)
        text = say("yes") if value is True else str(words.get(value, value)) if isinstance(value, str) else str(value)
        found.append((str(one.label), f"{text} {one.unit}".strip()))
    for name, label in (
        ("why_better", say("Why it is better than its readings")),
        ("alone_because", say("Why without a witness")),
    ):
        if details.get(name):
            found.append((label, str(details[name])))
    return found
