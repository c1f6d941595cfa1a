"""Requalification of gas cylinders: years by rule, and the condition under which a longer term holds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from maintenance.compute.intervals import Span, end_of_month

if TYPE_CHECKING:
    from datetime import date
    from decimal import Decimal


class MonthRule(StrEnum):
    """Which day of the month a stamp of month and year runs out on."""

    END = "end of the month"
    FIRST = "first of the month"


class StarFault(StrEnum):
    """Why a star for a longer term does not hold."""

    TOO_LARGE = "water capacity above the limit"
    IN_CLUSTER = "used in a cluster"
    NOT_HAMMERED = "not hammer-tested before each filling"
    OTHER_GAS = "not one of the listed dry gases"
    TOO_OLD = "older than the limit"


@dataclass(frozen=True, slots=True)
class StarLaw:
    """Conditions of the star: largest water capacity [L], greatest age [years]; years with and without it."""

    largest_litres: Decimal
    oldest_years: int
    years: int
    years_without: int


@dataclass(frozen=True, slots=True)
class StarFacts:
    """What is known of a cylinder that bears a star."""

    made_on: date
    water_litres: Decimal
    out_of_cluster: bool
    hammer_tested: bool
    listed_dry_gas: bool


def star_faults(facts: StarFacts, law: StarLaw, today: date) -> tuple[StarFault, ...]:
    """Return every reason why the star does not hold on ``today``; none means it holds."""
    found = {
        StarFault.TOO_LARGE: facts.water_litres > law.largest_litres,
        StarFault.IN_CLUSTER: not facts.out_of_cluster,
        StarFault.NOT_HAMMERED: not facts.hammer_tested,
        StarFault.OTHER_GAS: not facts.listed_dry_gas,
        StarFault.TOO_OLD: today > Span(12 * law.oldest_years).after(facts.made_on),
    }
    return tuple(fault for fault, holds in found.items() if holds)


def requalification_due(stamped: date, years: int, *, month_only: bool, rule: MonthRule = MonthRule.END) -> date:
    """Return the last good day of a cylinder stamped on ``stamped``.

    A stamp of month and year runs out at the end of its month, or on the first, as the house chooses.

    >>> from datetime import date
    >>> requalification_due(date(2021, 2, 28), 5, month_only=True)
    datetime.date(2026, 2, 28)
    """
    due = Span(12 * years).after(stamped)
    if not month_only:
        return due
    return end_of_month(due) if rule is MonthRule.END else due.replace(day=1)


def pressure_of_test(service: Decimal, numerator: int, denominator: int) -> Decimal:
    """Return the test pressure: service pressure times a fraction; units as given."""
    return service * numerator / denominator
