"""The pages of what I was told: nobody reads another's, a tap twice changes nothing, a refusal keeps what was typed."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.formats import date_format

from facility.models import Event, Notice, NoticeHour, NoticeMute, SiteRole, Snooze
from facility.notices import acting, digest, watch
from facility.sweep import looking
from tests import make
from tests.facility.readiness_db import build
from tests.notices import scene

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Site, User
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]
BACKEND = "django.contrib.auth.backends.ModelBackend"


def client(user: User) -> Client:
    found = Client()
    found.force_login(user, backend=BACKEND)
    return found


def told(site: Site, user: User | None, at: datetime, **fields: Any) -> Notice:
    defaults = {
        "site": site, "user": user, "kind": "readiness", "once_key": f"readiness:1:{user.pk if user else 'site'}",
        "subject": "Chamber 1, TT6: Not ready", "body": "Depth", "next_action": "Look.", "made_at": at, "link": "/skerrow/now/",
    }  # fmt: skip
    return Notice.objects.create(**defaults | fields)


def test_one_reads_what_one_was_told_with_what_to_do_and_not_what_others_were(clock: Clock) -> None:
    site = make.site(key="skerrow")
    me, other = make.supervisor(site), make.supervisor(site)
    told(site, me, clock.now)
    told(site, other, clock.now, subject="For another", once_key="box:1:2")
    page = client(me).get("/skerrow/notices/").content.decode()
    assert "Chamber 1, TT6: Not ready" in page
    assert "Look." in page
    assert "For another" not in page


def test_my_own_copy_stands_for_the_site_s(clock: Clock) -> None:
    site = make.site(key="skerrow")
    me = make.supervisor(site)
    told(site, me, clock.now)
    told(site, None, clock.now)
    assert client(me).get("/skerrow/notices/").content.decode().count("<details>") == 1


def test_a_tap_acknowledges_and_a_second_changes_nothing(clock: Clock) -> None:
    site = make.site(key="skerrow")
    me = make.supervisor(site)
    row = told(site, me, clock.now)
    for _tap in range(2):
        answer = client(me).post(f"/skerrow/notices/{row.pk}/answer/", {"do": "seen"})
        assert answer.status_code == 302
    row.refresh_from_db()
    assert (row.acknowledged_at, row.acknowledged_by, row.acted_at) == (clock.now, str(me), None)
    assert Event.objects.filter(action="notice acknowledged").count() == 1


def test_done_acknowledges_too(clock: Clock) -> None:
    site = make.site(key="skerrow")
    me = make.supervisor(site)
    row = told(site, me, clock.now)
    client(me).post(f"/skerrow/notices/{row.pk}/answer/", {"do": "done"})
    row.refresh_from_db()
    assert row.acknowledged_at == row.acted_at == clock.now


def test_another_s_notice_cannot_be_acknowledged(clock: Clock) -> None:
    site = make.site(key="skerrow")
    row = told(site, make.supervisor(site), clock.now)
    answer = client(make.supervisor(site)).post(f"/skerrow/notices/{row.pk}/answer/", {"do": "seen"})
    assert answer.status_code == 404
    assert not Notice.objects.filter(acknowledged_at__isnull=False).exists()


def test_hostile_text_in_a_notice_is_only_text(clock: Clock) -> None:
    site = make.site(key="skerrow")
    me = make.supervisor(site)
    told(site, me, clock.now, subject="<script>alert(1)</script>", body="<img src=x>", things=["plan:1:<b>\"'&"])
    page = client(me).get("/skerrow/notices/").content.decode()
    assert "<script>alert" not in page
    assert "<img src=x>" not in page


def overdue(site: Site) -> str:
    """Return the thing of a rule that is overdue and flagged."""
    rule = make.rule(make.equipment(site, tag="DG-9"), months=12)
    make.work(rule, date(2025, 11, 20))
    looking.sweep(build.T)
    return f"rule:{rule.pk}"


@pytest.mark.usefixtures("clock")
def test_what_stands_is_listed_with_what_to_do_next_and_the_page() -> None:
    site = make.site(zone="UTC", key="skerrow")
    thing = overdue(site)
    page = client(make.user(site, SiteRole.TENDER)).get("/skerrow/flags/").content.decode()
    assert "DG-9: calibration" in page
    assert "overdue, good through 20 Nov 2026" in page
    assert "Do it and record the work." in page
    assert f"/skerrow/rules/{thing.split(':')[1]}/" in page


def test_a_medical_of_another_is_on_nobody_else_s_page(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    sick = make.user(site, SiteRole.TENDER)
    build.medical(make.person(site, user=sick, key="k-lindqvist", name="Karin Lindqvist"), good_until=date(2026, 11, 1))
    looking.sweep(clock.now)
    seen = {
        role: "Lindqvist" in client(make.user(site, role)).get("/skerrow/flags/").content.decode()
        for role in SiteRole.values
    }
    assert {role for role, sees in seen.items() if sees} == {SiteRole.SUPERVISOR, SiteRole.DIRECTOR}
    assert "Lindqvist" in client(sick).get("/skerrow/flags/").content.decode()


def typed(at: datetime) -> str:
    return date_format(at, "j M Y H:i")


def test_somebody_answers_for_a_thing_until_an_end_and_it_is_an_event(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    thing, me, mate = overdue(site), make.supervisor(site), make.user(site, SiteRole.MAINTAINER)
    end = clock.now + timedelta(days=3)
    sent = {"thing": thing, "owner": mate.pk, "until": typed(end), "why": "part ordered"}
    assert client(me).post("/skerrow/flags/snooze/", sent).status_code == 302
    row = Snooze.objects.get()
    assert (row.thing, row.owner, row.until, row.recorded_by) == (thing, mate, end, str(me))
    assert Event.objects.filter(action="snoozed", actor=str(me), reason="part ordered").count() == 1
    assert "answers for it until 30 Nov 2026 10:00" in client(me).get("/skerrow/flags/").content.decode()
    digest.make(clock.now)
    assert "DG-9" not in Notice.objects.get(user=mate).body
    client(me).post(f"/skerrow/flags/snooze/{row.pk}/end/", {"reason": "part came"})
    row.refresh_from_db()
    assert row.retired_reason == "part came"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("until", "26 Nov 2026 10:00", "The end must lie ahead"),
        ("until", "26 Nov 2027 10:00", "more than 92 days"),
        ("until", "31 Feb 2027 10:00", "the calendar has no such day"),
        ("why", "  ", "required"),
    ],
)
def test_a_refused_snooze_says_why_and_nothing_typed_is_lost(clock: Clock, field: str, value: str, words: str) -> None:
    site = make.site(zone="UTC", key="skerrow")
    me = make.supervisor(site)
    sent = {
        "thing": overdue(site),
        "owner": me.pk,
        "until": typed(clock.now + timedelta(days=3)),
        "why": "part ordered",
    }
    answer = client(me).post("/skerrow/flags/snooze/", sent | {field: value})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert ("part ordered" in answer.content.decode()) is (field != "why")
    assert not Snooze.objects.exists()


@pytest.mark.parametrize("role", [SiteRole.INSPECTOR, None])
def test_who_may_do_nothing_here_cannot_answer_for_a_thing_and_a_first_account_can(
    clock: Clock, role: SiteRole | None
) -> None:
    site = make.site(zone="UTC", key="skerrow")
    first = make.user(is_superuser=True)
    other = make.user(site, role) if role else make.user(make.site(), SiteRole.DIRECTOR)
    sent = {"thing": overdue(site), "until": typed(clock.now + timedelta(days=3)), "why": "part ordered"}
    assert client(first).post("/skerrow/flags/snooze/", sent | {"owner": other.pk}).status_code == 422
    row = Snooze(site=site, thing=sent["thing"], owner=other, until=clock.now + timedelta(days=3), why="x")
    with pytest.raises(ValidationError, match="needs an account with a role here"):
        acting.snooze(row, by=make.BY)
    assert client(first).post("/skerrow/flags/snooze/", sent | {"owner": first.pk}).status_code == 302


def test_a_second_snooze_of_a_thing_takes_the_first_one_s_place(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    me = make.supervisor(site)
    sent = {"thing": overdue(site), "owner": me.pk, "why": "part ordered"}
    for days in (3, 5):
        client(me).post("/skerrow/flags/snooze/", sent | {"until": typed(clock.now + timedelta(days=days))})
    assert [row.until for row in Snooze.objects.filter(retired_at=None)] == [clock.now + timedelta(days=5)]


@pytest.mark.usefixtures("clock")
def test_what_one_was_not_told_of_cannot_be_snoozed() -> None:
    site = make.site(zone="UTC", key="skerrow")
    assert client(make.supervisor(site)).get("/skerrow/flags/snooze/?thing=rule:99999").status_code == 404
    assert client(make.supervisor(site)).get("/skerrow/flags/snooze/").status_code == 404


@pytest.mark.usefixtures("clock")
def test_my_hour_is_kept_and_an_hour_that_is_none_is_refused() -> None:
    site = make.site(key="skerrow")
    me = client(make.supervisor(site))
    for hour in (6, 9):
        assert me.post("/skerrow/notices/mine/", {"do": "hour", "hour": hour}).status_code == 302
    assert NoticeHour.objects.get().hour == 9
    assert me.post("/skerrow/notices/mine/", {"do": "hour", "hour": 24}).status_code == 422


def test_muting_a_kind_needs_a_reason_is_an_event_and_can_be_lifted(clock: Clock) -> None:
    site = make.site(key="skerrow")
    user, boss = make.supervisor(site), make.user(site, SiteRole.DIRECTOR)
    me = client(user)
    assert me.post("/skerrow/notices/mine/", {"do": "mute", "kind": "ahead", "why": ""}).status_code == 422
    assert me.post("/skerrow/notices/mine/", {"do": "mute", "kind": "call-out", "why": "tired"}).status_code == 422
    assert me.post("/skerrow/notices/mine/", {"do": "mute", "kind": "ahead", "why": "too many"}).status_code == 302
    assert me.post("/skerrow/notices/mine/", {"do": "mute", "kind": "ahead", "why": "again"}).status_code == 422
    assert Event.objects.get(action="muted").reason == "too many"
    assert "too many" in client(boss).get("/skerrow/notices/mine/").content.decode()
    row = NoticeMute.objects.get()
    assert client(boss).post(f"/skerrow/notices/mutes/{row.pk}/lift/").status_code == 404
    me.post(f"/skerrow/notices/mutes/{row.pk}/lift/")
    row.refresh_from_db()
    assert row.retired_at == clock.now


def test_the_queries_of_the_pages_do_not_grow(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    site, me = chamber.site, make.supervisor(chamber.site)
    mine = client(me)
    counts: dict[str, list[int]] = {"/skerrow/notices/": [], "/skerrow/flags/": []}
    for number in (1, 8):
        for _more in range(number):
            make.work(make.rule(make.equipment(site), months=12), date(2025, 11, 20))
            told(site, me, clock.now, once_key=f"x:{Notice.objects.count()}:{me.pk}")
        looking.sweep(clock.now)
        for path, found in counts.items():
            mine.get(path)
            with CaptureQueriesContext(connection) as caught:
                mine.get(path)
            found.append(len(caught))
    assert [few == many for few, many in counts.values()] == [True, True]


def test_a_notice_of_the_watch_leads_to_pages_that_exist(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    me = make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.now)
    row = Notice.objects.get(user=me)
    assert client(me).get(row.link).status_code == 200
    assert client(me).get(f"/skerrow/flags/snooze/?thing={row.things[0]}").status_code == 200


def test_a_test_of_a_way_asks_for_no_answer(clock: Clock) -> None:
    site = make.site(key="skerrow")
    user = make.supervisor(site)
    told(site, user, clock.now, kind="test", once_key=f"test:1:{user.pk}", subject="A test of this way")
    page = client(user).get("/skerrow/notices/").content.decode()
    assert "A test of this way" in page
    assert "/answer/" not in page
