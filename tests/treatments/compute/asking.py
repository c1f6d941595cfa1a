"""Short ways to ask for what many tests ask for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.compute.dose import exposures, pulmonary_dose
from treatments.compute.profile import Breaks, Choices, Profile, profile
from treatments.reference import fractions, table
from treatments.reference.laws import conventions, pulmonary

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from treatments.compute.tables import Segment


def planned(key: str, extensions: Mapping[float, int] | None = None, breaks: Breaks = Breaks.KEPT) -> Profile:
    """Return the profile of a shipped table."""
    return profile(table(key), Choices(extensions or {}, breaks))


def dose(
    segments: Iterable[Segment],
    convention: str = "navy",
    exponent: float | None = None,
    gases: Mapping[str, float] | None = None,
) -> float:
    """Return the pulmonary dose of segments."""
    history = exposures(segments, gases or fractions(), conventions()[convention])
    return pulmonary_dose(history, pulmonary(exponent))
