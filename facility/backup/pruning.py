"""Which backups stay: of the newest 7 days, 5 weeks and 12 months, and of every year, the last one each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

#: how many periods, and which period an instant falls into; weeks as in ISO 8601
RULES: Final[tuple[tuple[int | None, Callable[[datetime], tuple[int, ...]]], ...]] = (
    (7, lambda made: (made.year, made.month, made.day)),
    (5, lambda made: made.isocalendar()[:2]),
    (12, lambda made: (made.year, made.month)),
    (None, lambda made: (made.year,)),
)


def kept(made: Iterable[datetime]) -> set[datetime]:
    """Return the instants (UTC) of the backups that stay.

    Only periods with a backup are counted: a box that was off for a year loses nothing by it.
    """
    newest_first = sorted(set(made), reverse=True)
    stay: set[datetime] = set()
    for most, period in RULES:
        last_of: dict[tuple[int, ...], datetime] = {}
        for instant in newest_first:
            last_of.setdefault(period(instant), instant)
        stay.update(list(last_of.values())[:most])
    return stay
