"""Renewal of a technologist's certificate: hours of education and of clinical work in its term."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal


@dataclass(frozen=True, slots=True)
class RenewalLaw:
    """Hours that are asked for in one term of ``years``."""

    years: int
    education: Decimal
    category_a: Decimal
    clinical: Decimal


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Hours that are still missing, 0 where none."""

    education: Decimal
    category_a: Decimal
    clinical: Decimal

    @property
    def renewable(self) -> bool:
        """Whether nothing is missing."""
        return self.education == self.category_a == self.clinical == 0


def shortfall(education: Decimal, category_a: Decimal, clinical: Decimal, law: RenewalLaw) -> Shortfall:
    """Return what is missing for renewal; exactly enough is enough. Units: h.

    Source: facility/reference/renewals.toml.
    """
    none = education * 0
    return Shortfall(
        max(none, law.education - education), max(none, law.category_a - category_a), max(none, law.clinical - clinical)
    )
