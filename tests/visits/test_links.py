"""Reading by link: opens and ends on time, is revoked, shows no more than it should, and sends nothing."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import Event, FindingAnswer, ReadingLink, Site, SiteRole
from facility.visits.services import LONGEST, answer, link_of, open_door
from maintenance.calibrating import recalls
from maintenance.models import Recall
from tests import make
from tests.maintenance.calibrating import support
from tests.visits.test_findings import client_of, finding

pytestmark = pytest.mark.django_db


def made(at: Site, **fields: object) -> tuple[ReadingLink, str]:
    """Return a link of a site that is open for a day, and its secret."""
    now = events.now()
    default = {"site": at, "name": "Ada Test", "opens_at": now - timedelta(hours=1), "ends_at": now + timedelta(days=1)}
    return open_door(ReadingLink(**default | fields), by=make.BY)


def look(secret: str, page: str = "look", *parts: object) -> int:
    return Client().get(reverse(f"visits:{page}", args=[secret, *parts])).status_code


def page_of(secret: str, page: str, *parts: object) -> str:
    answer = Client().get(reverse(f"visits:{page}", args=[secret, *parts]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_link_opens_at_its_time_and_not_after_its_end() -> None:
    link, secret = made(make.site())
    for at, opened in (
        (link.opens_at - timedelta(seconds=1), False), (link.opens_at, True),
        (link.ends_at - timedelta(seconds=1), True), (link.ends_at, False),
    ):  # fmt: skip
        assert (link_of(secret, at) is not None) is opened, at


def test_a_revoked_link_and_a_guessed_one_lead_nowhere() -> None:
    link, secret = made(make.site())
    assert look(secret) == 200
    assert look(secret[:-1] + ("A" if secret[-1] != "A" else "B")) == 404
    services.retire(link, by=make.BY, reason="visit over")
    assert look(secret) == 404


def test_the_secret_is_stored_nowhere() -> None:
    link, secret = made(make.site())
    assert secret not in str(ReadingLink.objects.filter(pk=link.pk).values().get())
    assert all(secret not in payload for payload in Event.objects.values_list("payload", flat=True))


def test_a_link_that_is_over_or_open_too_long_is_refused_with_the_limit() -> None:
    now = events.now()
    with pytest.raises(ValidationError, match="lies before now"):
        made(make.site(), ends_at=now - timedelta(minutes=1))
    with pytest.raises(ValidationError, match="92 days at most"):
        made(make.site(), ends_at=now + LONGEST + timedelta(days=2))


def test_the_first_use_of_a_day_is_an_event_and_the_next_is_not() -> None:
    _link, secret = made(make.site())
    for _time in range(3):
        assert look(secret) == 200
    used = Event.objects.filter(action="reading link used")
    assert [event.actor for event in used] == ["reading link: Ada Test"]


def test_a_link_shows_its_scope_and_nothing_else() -> None:
    site = make.site()
    item, person = make.equipment(site), make.person(site)
    _link, secret = made(site, scope="checks")
    assert look(secret, "look_day") == 200
    assert look(secret, "look_item", item.pk) == 404
    assert look(secret, "look_person", person.pk) == 404
    shown = Client().get(reverse("visits:look", args=[secret])).content.decode()
    assert person.name not in shown
    assert item.tag not in shown


def test_a_link_to_one_chamber_shows_no_item_of_another_nor_of_another_site() -> None:
    site = make.site()
    here, there = make.chamber(site), make.chamber(site)
    mine, other = make.equipment(site, chamber=here), make.equipment(site, chamber=there)
    for item in (mine, other):
        make.rule(item)
    _link, secret = made(site, chamber=here)
    assert look(secret, "look_item", mine.pk) == 200
    assert look(secret, "look_item", other.pk) == 404
    assert look(secret, "look_item", make.equipment().pk) == 404
    shown = Client().get(reverse("visits:look", args=[secret])).content.decode()
    assert mine.tag in shown
    assert other.tag not in shown


def test_a_link_leads_from_a_gauge_to_its_certificate_and_back_to_all_that_rests_on_it() -> None:
    """Both ways, each step with its event; what a chamber's link does not show stays out of it."""
    site = make.site()
    here, there = make.chamber(site), make.chamber(site)
    first, second = make.equipment(site, chamber=here), make.equipment(site, chamber=there)
    certificate = support.certificate(support.reference(site), accreditation="Mark 7")
    rows = [support.comparison(item, certificate) for item in (first, second)]
    _link, secret = made(site)
    way_down, way_up = page_of(secret, "look_item", first.pk), page_of(secret, "look_certificate", certificate.pk)
    assert reverse("visits:look_certificate", args=[secret, certificate.pk]) in way_down
    for row in rows:
        assert reverse("visits:look_item", args=[secret, row.equipment_id]) in way_up
        stored = Event.objects.filter(subject_kind="maintenance.calibration", subject_id=row.pk).order_by("seq")[0]
        assert f"event {stored.seq}" in way_up
    assert "Mark 7" in way_up
    narrow = page_of(made(site, chamber=here)[1], "look_certificate", certificate.pk)
    assert (first.tag in narrow, second.tag in narrow) == (True, False)
    assert look(made(site, chamber=make.chamber(site))[1], "look_certificate", certificate.pk) == 404
    assert look(made(make.site())[1], "look_certificate", certificate.pk) == 404
    assert look(made(site, scope="people")[1], "look_certificate", certificate.pk) == 404
    later = page_of(made(site, from_day=support.DAY + timedelta(days=1))[1], "look_certificate", certificate.pk)
    assert first.tag not in later


def test_a_finding_is_read_by_link_with_its_answers_and_what_proves_them() -> None:
    row = finding()
    site = row.inspection.site
    own = Event.objects.filter(site_id_text=site.key).latest("seq")
    _link, secret = made(site, scope="findings")
    assert "Answered by" not in page_of(secret, "look")
    answer(FindingAnswer(finding=row, text="Sign hung at the door.", of_event=own.seq), by=make.BY)
    shown = page_of(secret, "look")
    assert "answered, not closed" in shown
    assert "Sign hung at the door." in shown
    assert f"event {own.seq}" in shown


def test_a_comparison_in_doubt_is_not_told_as_good_by_link() -> None:
    site = make.site()
    certificate = support.certificate(support.reference(site))
    row = support.comparison(make.equipment(site), certificate)
    _link, secret = made(site)
    for page, pk in (("look_item", row.equipment_id), ("look_certificate", certificate.pk)):
        assert "in doubt" not in page_of(secret, page, pk)
    found = Recall(
        site=site, reference=certificate.reference, last_good_on=support.DAY - timedelta(days=9),
        found_on=support.DAY + timedelta(days=9), why="Reads low",
    )  # fmt: skip
    recalls.start(found, by=make.BY)
    for page, pk in (("look_item", row.equipment_id), ("look_certificate", certificate.pk)):
        assert "in doubt" in page_of(secret, page, pk)


def test_days_before_the_first_day_shown_are_refused_with_that_day() -> None:
    _link, secret = made(make.site(), from_day=date(2026, 3, 1))
    answer = Client().get(reverse("visits:look_day", args=[secret]), {"day": "27 Feb 2026"})
    assert answer.status_code == 422
    assert "27 Feb 2026 lies before 1 Mar 2026" in answer.content.decode()


def test_pages_read_by_link_take_nothing_and_are_not_kept_by_a_cache() -> None:
    site = make.site()
    _link, secret = made(site)
    person, item = make.person(site), make.equipment(site)
    certificate = support.certificate(support.reference(site))
    for page, parts in (
        ("look", ()), ("look_day", ()), ("look_item", (item.pk,)), ("look_certificate", (certificate.pk,)),
        ("look_person", (person.pk,)),
    ):  # fmt: skip
        address = reverse(f"visits:{page}", args=[secret, *parts])
        assert Client().post(address).status_code == 405, page
        answer = Client().get(address)
        assert "no-store" in answer.headers["Cache-Control"], page
        assert 'method="post"' not in answer.content.decode().replace('action="/light', "").partition("<main")[2], page


def test_the_phone_numbers_of_people_are_not_shown_by_link() -> None:
    site = make.site()
    person = make.person(site, phone="+47 000 MARKER", note="NOTEMARKER")
    _link, secret = made(site)
    for address in (reverse("visits:look", args=[secret]), reverse("visits:look_person", args=[secret, person.pk])):
        shown = Client().get(address).content.decode()
        assert "MARKER" not in shown
        assert person.name in shown


def test_the_address_is_shown_once_and_the_list_has_the_end() -> None:
    site = make.site()
    client = client_of(site, SiteRole.DIRECTOR)
    page = reverse("visits:links", args=[site.key])
    ends = (datetime.now(UTC) + timedelta(days=5)).strftime("%Y-%m-%d 12:00")
    sent = {"name": "Ada Test", "scope": "whole", "opens_at": "2026-03-01 12:00", "ends_at": ends}
    made_page = client.post(page, sent).content.decode()
    assert "/look/" in made_page
    assert "/look/" not in client.get(page).content.decode()
    link = ReadingLink.objects.get()
    shut = reverse("visits:revoke_link", args=[site.key, link.pk])
    client.post(shut, {"reason": " "})
    assert ReadingLink.objects.get().retired_at is None
    client.post(shut, {"reason": "visit over"})
    assert ReadingLink.objects.get().retired_at is not None
