"""The crew that a worked-out plan begins with: the least that the handbook states, for a person to complete."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from treatments.plan_maker.sums import value_of
from treatments.reference import figures

if TYPE_CHECKING:
    from treatments.plan_maker.sums import Value


def least_crew(tenders: int) -> list[dict[str, Any]]:
    """Return the roles of the least crew, with as many inside tenders as the party asks for.

    Source: treatments/reference/crew.toml. It names no qualification: those are the house's.

    >>> [(one["count"], one["to"]) for one in least_crew(2)]
    [(1, None), (1, None), (2, None)]
    """
    return [
        _role(_("Supervisor"), _count("least.supervisor")),
        _role(_("Outside tender"), _count("least.outside")),
        _role(_("Inside tender"), max(_count("least.inside"), tenders)),
    ]


def emergency_crew() -> list[dict[str, Any]]:
    """Return the roles of the least crew in an emergency.

    >>> sum(one["count"] for one in emergency_crew())
    2
    """
    outside = _count("emergency.outside")
    return [
        _role(_("Supervisor and outside tender in one person"), outside),
        _role(_("Inside tender"), _count("emergency.all") - outside),
    ]


def crew_values() -> list[Value]:
    """Return the figures that the offered crew rests on, each with its source and standing."""
    return [value_of(one) for one in figures("crew").values()]


def _count(name: str) -> int:
    return int(figures("crew")[name].number)


def _role(name: str, count: int) -> dict[str, Any]:
    return {"role": name, "count": count, "qualifications": [], "medical": False, "from": 0, "to": None}
