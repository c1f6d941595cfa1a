"""A certificate or medical that a newer one took over from asks nobody for anything; common practice, no source."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from facility import events, house, services
from facility.models import MedicalFitness, Person, QualificationHeld, QualificationKind
from facility.records import states
from facility.records.states import Moment
from tests import make

pytestmark = pytest.mark.django_db


def moment_of(person: Person) -> Moment:
    return Moment(events.now(), ZoneInfo("UTC"), house.values(person.site), person.site_id)


def held(person: Person, kind: QualificationKind, days: int, second: str = "Bo Test") -> QualificationHeld:
    """Return a certificate that is good for so many days from today; fewer than none: it ran out."""
    today = events.now().date()
    row = QualificationHeld(
        person=person, kind=kind, issued_on=today + timedelta(days=days - 365), expires_on=today + timedelta(days=days),
        second_look_by=second,
    )  # fmt: skip
    return services.add(row, by=make.BY)


def test_a_certificate_that_ran_out_is_quiet_once_a_newer_one_counts() -> None:
    person = make.person(make.site(zone="UTC"))
    kind = make.qualification_kind(person.site.organisation)
    old, new = held(person, kind, -30), held(person, kind, 335)
    found = states.of_qualifications([old, new], moment_of(person))
    assert (found[old.pk].words, found[old.pk].quiet) == ("Followed by a newer one", True)
    assert found[new.pk].words.startswith("In date")


def test_one_that_nobody_looked_at_twice_or_of_another_kind_takes_no_ones_place() -> None:
    person = make.person(make.site(zone="UTC"))
    kind = make.qualification_kind(person.site.organisation)
    other = make.qualification_kind(person.site.organisation, key="other", name="Other")
    old = held(person, kind, -30)
    held(person, kind, 335, second="")
    held(person, other, 335)
    assert states.of_qualifications([old], moment_of(person))[old.pk].words == "Overdue 30 days"


def test_of_two_that_ran_out_only_the_newer_one_is_overdue() -> None:
    person = make.person(make.site(zone="UTC"))
    kind = make.qualification_kind(person.site.organisation)
    old, new = held(person, kind, -400), held(person, kind, -30)
    found = states.of_qualifications([old, new], moment_of(person))
    assert (found[old.pk].words, found[new.pk].words) == ("Followed by a newer one", "Overdue 30 days")


def test_of_medicals_the_newest_counts_and_the_one_before_is_quiet() -> None:
    person, today = make.person(make.site(zone="UTC")), events.now().date()
    old, new = (
        services.add(
            MedicalFitness(
                person=person, examined_on=today - timedelta(days=ago), good_until=today + timedelta(days=365 - ago),
                outcome="fit", physician="Dr Test",
            ),
            by=make.BY,
        )
        for ago in (500, 100)
    )  # fmt: skip
    found = states.of_medicals([old, new], moment_of(person))
    assert found[old.pk].words == "Followed by a newer one"
    assert found[new.pk].words.startswith("In date")
