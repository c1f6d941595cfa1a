"""The benchmarks of many sites measure what they say, on few sites."""

from __future__ import annotations

import pytest

from facility.models import Chamber, Site
from facility.project.bench.scratch import AT, Size
from facility.project.bench.scratch_copies import alike
from facility.readiness.services import answers
from maintenance.models import Equipment, WorkRecord
from tests.alone import floats_of


@pytest.mark.django_db
def test_copied_sites_are_whole_and_answer_alike() -> None:
    chambers = alike(4, Size(items=6, people=4, plans=2, needs=5, months=1))
    assert Site.objects.values("key").distinct().count() == 4
    assert Chamber.objects.count() == 4
    assert {
        item.site_id == item.chamber.site_id for item in Equipment.objects.select_related("chamber") if item.chamber
    } == {True}
    assert {
        work.rule.equipment_id == work.equipment_id for work in WorkRecord.objects.select_related("rule") if work.rule
    } == {True}
    found = [{plan: str(one.state) for plan, one in answer.evaluations.items()} for answer in answers(chambers, AT)]
    assert len(found[0]) == 2
    assert found == [found[0]] * 4


def test_a_site_larger_than_a_step_is_refused(monkeypatch: pytest.MonkeyPatch, db: None) -> None:
    monkeypatch.setattr("facility.project.bench.scratch_copies.STEP", 3)
    with pytest.raises(ValueError, match="make it smaller"):
        alike(2, Size(items=6, people=4, plans=2, needs=5, months=1))


def test_the_most_memory_held_is_told_of_one_act_alone() -> None:
    before, large, after = floats_of(
        "from facility.project.bench.sweep import most_mb\n"
        "print(most_mb(lambda: None), most_mb(lambda: bytearray(64 * 1024 * 1024).count(1)), most_mb(lambda: None))"
    )
    assert large > before + 60
    assert after < before + 30
