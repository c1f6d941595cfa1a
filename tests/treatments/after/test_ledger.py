"""The exposure ledger of one person: sums added up by hand, waits, and who may see it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from facility import services
from facility.models import Person, SiteRole
from tests import make
from tests.treatments.recording.support import place, run_on, signed_in
from treatments.after.ledger import ledger_of
from treatments.models import Exposure, PressureWait, Run, RunRole

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def exposure(person: Person, run: Run, days_before: int, **fields: Any) -> Exposure:
    """Return an exposure of 288 min that ended so many days before noon of the day."""
    ends = make.NOON - days_before * DAY
    occupant = place(run, RunRole.TENDER, f"{person.name} {days_before}", person=person, inside=True)
    defaults = {
        "run": run, "occupant": occupant, "person": person, "starts_at": ends - timedelta(minutes=288), "ends_at": ends,
        "deepest_fsw": Decimal(60), "minutes": Decimal("288.00"), "oxygen_min": Decimal("60.00"), "uptd": Decimal("142.56"),
        "cns_fraction": None, "convention": "test",
    }  # fmt: skip
    return services.add(Exposure(**defaults | fields), by=make.BY)


def test_sums_are_those_added_up_by_hand() -> None:
    """Three runs 2, 40 and 400 days ago: 142.56 + 142.56 + 33.3 = 318.42 in all; 285.12 in a year; 142.56 in 30 days."""
    run = run_on()
    person = make.person(run.chamber.site)
    exposure(person, run, 2)
    exposure(person, run, 40)
    exposure(person, run, 400, uptd=Decimal("33.30"), deepest_fsw=Decimal(165), cns_fraction=Decimal("0.2"))
    services.retire(exposure(person, run, 3), by=make.BY, reason="of another")
    found = ledger_of(person, make.NOON)
    assert [found.month.uptd, found.year.uptd, found.ever.uptd] == [
        Decimal("142.56"),
        Decimal("285.12"),
        Decimal("318.42"),
    ]
    assert [found.month.runs, found.year.runs, found.ever.runs] == [1, 2, 3]
    assert [found.ever.minutes, found.ever.oxygen_min, found.ever.deepest_fsw] == [864, 180, 165]
    assert [found.year.cns_unknown, found.ever.cns_unknown] == [2, 2]


def test_the_longest_wait_of_the_house_says_from_when_and_the_revisions_stand_beside() -> None:
    """Handbook 2.2: after table 6 a tender waits 12 h (revision 4A) or 18 h before the next run, 24 h before flying."""
    run = run_on()
    person = make.person(run.chamber.site)
    exposure(person, run, 0)
    for hours in (12, 20):
        services.add(
            PressureWait(
                person=person, run=run, starts_at=make.NOON, ends_at=make.NOON + timedelta(hours=hours), why="house"
            ),
            by=make.BY,
        )
    found = ledger_of(person, make.NOON + timedelta(hours=1))
    assert found.allowed_from == make.NOON + timedelta(hours=20)
    told = {(one.what, one.revision): (one.until - make.NOON) / timedelta(hours=1) for one in found.stated}
    assert told["next run as tender", "revision 4A"] == 12
    assert told["next run as tender", "revisions 6 and 7, from memory"] == 18
    assert told["flying", "revision 4A"] == 24
    late = ledger_of(person, make.NOON + 4 * DAY)
    assert (late.allowed_from, late.stated, late.waits) == (None, (), ())


def test_a_run_that_is_not_closed_is_told_as_missing() -> None:
    run = run_on()
    person = make.person(run.chamber.site)
    place(run, RunRole.TENDER, "Tove Holm", person=person, inside=True)
    assert ledger_of(person, make.NOON).not_closed == 1


def test_a_person_sees_the_own_ledger_and_no_others() -> None:
    run = run_on()
    site = run.chamber.site
    account = make.user(site, SiteRole.TENDER)
    own, other = make.person(site, user=account), make.person(site)
    exposure(own, run, 1)
    client = signed_in(account)
    page = client.get(reverse("treatments:exposures", args=[site.key, own.pk]))
    assert page.status_code == 200
    assert "142.6" in page.content.decode()
    for name in ("exposures", "personal_log"):
        assert client.get(reverse(f"treatments:{name}", args=[site.key, other.pk])).status_code == 403
    assert (
        signed_in(make.user(site, SiteRole.PHYSICIAN))
        .get(reverse("treatments:exposures", args=[site.key, other.pk]))
        .status_code
        == 200
    )


def test_a_person_of_another_site_is_not_found() -> None:
    run, other = run_on(), make.person()
    boss = signed_in(make.user(run.chamber.site, SiteRole.DIRECTOR))
    assert boss.get(reverse("treatments:exposures", args=[run.chamber.site.key, other.pk])).status_code == 404
