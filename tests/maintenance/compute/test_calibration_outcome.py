"""As found and as left: ISO/IEC 17025 in spirit, from memory."""

from __future__ import annotations

import pytest

from maintenance.compute.calibration_outcome import outcome
from maintenance.compute.decisions import Verdict

PASSED, FAILED = Verdict.PASSED, Verdict.FAILED


@pytest.mark.parametrize(
    ("as_found", "as_left", "adjusted", "look_back", "fit"),
    [
        (PASSED, None, False, False, True),
        (PASSED, None, True, False, False),
        (FAILED, None, False, True, False),
        (FAILED, None, True, True, False),
        (FAILED, PASSED, True, True, True),
        (PASSED, FAILED, True, False, False),
        (Verdict.CONDITIONALLY_PASSED, None, False, False, True),
        (Verdict.CONDITIONALLY_FAILED, None, False, True, False),
        (Verdict.TOO_UNCERTAIN, None, False, True, False),
    ],
)
def test_as_found_judges_the_past_and_as_left_the_time_to_come(
    as_found: Verdict, as_left: Verdict | None, *, adjusted: bool, look_back: bool, fit: bool
) -> None:
    found = outcome(as_found, as_left, adjusted=adjusted)
    assert (found.look_back, found.fit_for_use) == (look_back, fit)
