"""What the box itself needs somebody for is told to its first accounts and to directors, once per thing and day."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.db import transaction

from facility import events, record_check, services
from facility.health.part import Part
from facility.models import Event, Job, Membership, Notice
from facility.notices import box
from tests import make
from tests.notices import scene

if TYPE_CHECKING:
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


@pytest.fixture(autouse=True)
def _parts_are_well(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(box, "parts", lambda _at: {"disk": Part(ok=True, measured={})})


def happened(action: str, **after: str) -> None:
    with transaction.atomic():
        events.record(None, events.What(action, after=after), by=scene.BY)


def subjects() -> set[str]:
    return set(Notice.objects.filter(kind="box").values_list("subject", flat=True))


def test_a_failed_trial_is_told_to_directors_and_first_accounts_once_a_day(clock: Clock) -> None:
    site, other = make.site(), make.site()
    boss, first = make.user(site, "director"), make.user(is_superuser=True)
    make.supervisor(site)
    services.add(Membership(user=boss, site=other, role="director"), by=scene.BY)
    happened("backup:tried", result="failed", told="no room")
    happened("backup:tried", result="failed", told="no room")
    box.look(clock.now)
    box.look(clock.pass_by(minutes=5))
    found = scene.told("box")
    assert {one.user_id for one in found} == {boss.pk, first.pk}
    assert len(found) == 2
    assert found[0].link == "/box/backups/"
    assert subjects() == {"The newest backup could NOT be put back when it was tried."}


def test_what_went_well_is_told_to_nobody(clock: Clock) -> None:
    make.user(make.site(), "director")
    happened("backup:tried", result="restored")
    happened("backup:copied", file="x")
    record_check.verify_and_record(by=scene.BY)
    assert box.look(clock.now) == "0 troubles of the box, 0 notices made."


@pytest.mark.parametrize(
    ("action", "after", "words"),
    [
        ("backup:not-copied", {"to": "/mnt/stick"}, "could not be copied"),
        ("records:verified", {"found": "event 3 was changed"}, "found a fault"),
        ("records:checked-after-unclean-stop", {"found": "event 3 was changed"}, "found a fault"),
        ("records:head contradicted", {"found": "head 9"}, "contradicts a head"),
    ],
)
def test_each_trouble_is_told(clock: Clock, action: str, after: dict[str, str], words: str) -> None:
    make.user(make.site(), "director")
    happened(action, **after)
    box.look(clock.now)
    assert words in subjects().pop()


def test_a_dead_job_is_told_with_what_to_do(clock: Clock) -> None:
    make.user(make.site(), "director")
    for _try in range(2):
        Job.objects.create(kind="sweep", made_at=clock.now, due_at=clock.now, dead_at=clock.now, error="x")
    box.look(clock.now)
    found = scene.told("box")
    assert [one.subject for one in found] == ["The job “Look for what falls due” was given up after its last try."]
    assert "run it again" in found[0].next_action


def test_a_part_that_is_not_well_is_told_with_its_advice(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    make.user(make.site(), "director")
    monkeypatch.setattr(box, "parts", lambda _at: {"disk": Part(ok=False, measured={}, advice="Make room.")})
    box.look(clock.now)
    assert [one.next_action for one in scene.told("box")] == ["Make room."]


def test_a_week_without_power_tells_the_troubles_of_the_last_day_only(clock: Clock) -> None:
    make.user(make.site(), "director")
    happened("backup:not-copied", to="/mnt/stick")
    clock.pass_by(days=7)
    assert box.look(clock.now) == "0 troubles of the box, 0 notices made."


def test_the_first_event_since_an_instant_is_found_by_number(clock: Clock) -> None:
    for _hour in range(9):
        happened("noted")
        clock.pass_by(hours=1)
    rows = list(Event.objects.order_by("seq").values_list("seq", "recorded_at"))
    for seq, at in rows:
        assert box.first_since(at) == seq
        assert box.first_since(at + timedelta(minutes=1)) == seq + 1


def test_a_box_without_accounts_or_sites_tells_nobody_and_does_not_fall(clock: Clock) -> None:
    happened("backup:not-copied", to="/mnt/stick")
    assert box.look(clock.now) == "1 trouble of the box, 0 notices made."
