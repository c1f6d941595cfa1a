"""Facts of the trade as check values: none of them is shipped as a limit."""

from __future__ import annotations

from decimal import Decimal

import pytest

from facility.compute.sheets import Kind, Step, Typed, judge
from facility.walk.reference import default_sheets

#: a supply regulator is set between 300 and 450 psi: common practice, no source
REGULATOR = Step("supply", "Air", Kind.READING, "Supply regulator", "psi", low=Decimal(300), high=Decimal(450))


@pytest.mark.parametrize(
    ("read", "outcome"), [("299", "bad"), ("300", "good"), ("375", "good"), ("450", "good"), ("451", "bad")]
)
def test_a_site_that_sets_its_regulator_from_300_to_450_psi_reads_it_so(read: str, outcome: str) -> None:
    """Common practice, no source."""
    assert judge(REGULATOR, Typed(value=read), {}).outcome == outcome


def test_no_limit_is_shipped_that_only_the_site_can_know() -> None:
    """A default sheet gives a limit only with the source it was taken from."""
    for sheet in default_sheets().values():
        for step in sheet.steps:
            if step.low is not None or step.high is not None:
                assert step.source, (sheet.key, step.key)
                assert step.standing, (sheet.key, step.key)
