"""What a calibration says of the time before it and of the time after it."""

from __future__ import annotations

from dataclasses import dataclass

from maintenance.compute.decisions import Verdict

GOOD = (Verdict.PASSED, Verdict.CONDITIONALLY_PASSED)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Verdict on the interval past, by the run as found, and onward, None where a run as left is still needed."""

    past: Verdict
    onward: Verdict | None

    @property
    def look_back(self) -> bool:
        """Whether everything that rested on the instrument since its last good calibration is to be looked at."""
        return self.past not in GOOD

    @property
    def fit_for_use(self) -> bool:
        """Whether the instrument may be taken back into use."""
        return self.onward in GOOD


def outcome(as_found: Verdict, as_left: Verdict | None, *, adjusted: bool) -> Outcome:
    """Return what both runs say: as found alone judges the past; an adjusted instrument needs a run as left.

    Source: ISO/IEC 17025 in spirit, from memory.
    """
    if as_left is not None:
        return Outcome(as_found, as_left)
    return Outcome(as_found, None if adjusted else as_found)
