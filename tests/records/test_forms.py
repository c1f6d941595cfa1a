"""Refused input: what is wrong is named, what was typed stays, nothing is stored."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from facility.models import Event, QualificationHeld
from maintenance.models import BankReading, Equipment, WorkRecord
from tests import make
from tests.records.test_kinds import form_values, signed_in

pytestmark = pytest.mark.django_db


def page_of(answer: Any) -> str:
    text: str = answer.content.decode()
    return text


@pytest.fixture
def reading() -> dict[str, Any]:
    site = make.site()
    bank = make.bank(site)
    return {
        "site": site, "client": signed_in(make.user(site, "tender")), "bank": bank,
        "address": reverse("records:add", args=[site.key, "reading"]),
        "typed": {"bank": bank.pk, "read_at": "12 Mar 2025 13:00", "pressure": "120", "unit": "bar", "temperature_c": "15",
                  "read_by": "J. Quill"},
    }  # fmt: skip


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("read_at", "12/03/2025 13:00", "two readings"),
        ("read_at", "12 Mar 2025", "not a day and time"),
        ("pressure", "1 200", "thousand separator"),
        ("pressure", "1,200", "thousand separator"),
        ("pressure", "-5", "greater than or equal to 0"),
        ("pressure", "much", "not a number"),
        ("pressure", "", "required"),
        ("unit", "atm", "not one of the available choices"),
        ("read_at", "12 Mar 2190 13:00", "after now"),
    ],
)
def test_a_bad_reading_is_refused_with_422_and_kept_on_the_page(
    reading: dict[str, Any], field: str, value: str, said: str
) -> None:
    answer = reading["client"].post(reading["address"], reading["typed"] | {field: value})
    text = page_of(answer)
    assert answer.status_code == 422
    assert "<title>Error:" in text
    assert f'href="#id_{field}"' in text
    assert said in text
    assert "J. Quill" in text
    assert value in text
    assert not BankReading.objects.exists()


def test_3000_bar_is_asked_about_once_and_then_taken(reading: dict[str, Any]) -> None:
    high = reading["typed"] | {"pressure": "3000"}
    answer = reading["client"].post(reading["address"], high)
    assert answer.status_code == 422
    assert "3000 bar?" in page_of(answer)
    token = answer.context["form"].fields["sure"].widget.attrs["value"]
    other = reading["client"].post(reading["address"], high | {"pressure": "4000", "sure": token})
    assert other.status_code == 422, "the tick is for the value it was given for"
    assert reading["client"].post(reading["address"], high | {"sure": token}).status_code == 302
    assert BankReading.objects.get().pressure == 3000


def test_the_unit_offered_is_the_one_on_the_banks_gauge_and_another_is_asked_about(reading: dict[str, Any]) -> None:
    bank = make.bank(reading["site"], gauge_unit="psi")
    form = reading["client"].get(f"{reading['address']}?bank={bank.pk}").context["form"]
    assert form["unit"].value() == "psi"
    assert form["pressure"].value() in (None, ""), "a reading is never filled in beforehand"
    answer = reading["client"].post(reading["address"], reading["typed"] | {"bank": bank.pk})
    assert answer.status_code == 422
    assert "reads psi gauge" in page_of(answer)


def test_a_reading_entered_long_after_it_was_made_is_marked_late(reading: dict[str, Any]) -> None:
    reading["client"].post(reading["address"], reading["typed"])
    assert Event.objects.latest("seq").late
    just_now = (datetime.now(UTC) - timedelta(minutes=5)).strftime("%Y-%m-%d %H:%M Z").replace(" Z", "Z")
    reading["client"].post(reading["address"], reading["typed"] | {"read_at": just_now})
    assert not Event.objects.latest("seq").late


def test_a_choice_of_another_site_or_another_parent_is_refused(reading: dict[str, Any]) -> None:
    stranger = make.bank(make.site())
    answer = reading["client"].post(reading["address"], reading["typed"] | {"bank": stranger.pk})
    assert answer.status_code == 422
    site = reading["site"]
    item, other = make.equipment(site), make.equipment(site)
    client = signed_in(make.user(site, "maintainer"))
    typed = {
        "equipment": item.pk,
        "rule": make.rule(other).pk,
        "done_on": "1 Mar 2025",
        "result": "passed",
        "done_by": "J. Quill",
    }
    refused = client.post(reverse("records:add", args=[site.key, "work"]), typed)
    assert refused.status_code == 422
    assert "does not belong to" in page_of(refused)
    assert not WorkRecord.objects.exists()


def test_a_second_tag_of_the_same_name_is_refused_in_words() -> None:
    site = make.site()
    known = make.equipment(site)
    client = signed_in(make.user(site, "maintainer"))
    answer = client.post(
        reverse("records:add", args=[site.key, "equipment"]), {"tag": known.tag, "name": "Gauge", "kind": "depth_gauge"}
    )
    assert answer.status_code == 422
    assert "already" in page_of(answer)
    assert Equipment.objects.count() == 1


def test_a_second_rule_for_the_same_act_is_refused_in_words() -> None:
    site = make.site()
    rule = make.rule(make.equipment(site))
    client = signed_in(make.user(site, "maintainer"))
    typed = {
        "equipment": rule.equipment_id,
        "name": rule.name,
        "months": "1",
        "days": "0",
        "window_days": "0",
        "standing": "site",
    }
    answer = client.post(reverse("records:add", args=[site.key, "rule"]), typed)
    assert answer.status_code == 422
    assert "Constraint" not in page_of(answer)


def test_a_lost_update_shows_both_versions_and_the_second_try_is_a_choice() -> None:
    site = make.site()
    item = make.equipment(site, place="panel")
    first, second = (signed_in(make.user(site, "maintainer")) for _number in range(2))
    address = reverse("records:correct", args=[site.key, "equipment", item.pk])
    mine = form_values(first, address) | {"place": "inner lock", "reason": "moved"}
    second.post(address, form_values(second, address) | {"place": "outer lock", "reason": "moved"})
    answer = first.post(address, mine)
    text = page_of(answer)
    assert answer.status_code == 409
    assert "outer lock" in text
    assert "inner lock" in text
    item.refresh_from_db()
    assert item.place == "outer lock"
    again = mine | {"shown_version": answer.context["form"]["shown_version"].value()}
    assert first.post(address, again).status_code == 302
    item.refresh_from_db()
    assert item.place == "inner lock"


def test_an_entry_corrected_meanwhile_leads_to_the_one_that_counts() -> None:
    site = make.site()
    work = make.work(make.rule(make.equipment(site)), make.DAY)
    client = signed_in(make.user(site, "maintainer"))
    address = reverse("records:correct", args=[site.key, "work", work.pk])
    values = form_values(client, address) | {"note": "as found", "reason": "more to say"}
    assert client.post(address, values).status_code == 302
    late = client.post(address, values | {"note": "other"})
    assert late.status_code == 409
    newest = WorkRecord.objects.get(retired_at=None)
    assert reverse("records:correct", args=[site.key, "work", newest.pk]) in page_of(late)
    assert WorkRecord.objects.count() == 2


def test_a_correction_without_a_reason_changes_nothing() -> None:
    site = make.site()
    item = make.equipment(site)
    client = signed_in(make.user(site, "maintainer"))
    address = reverse("records:correct", args=[site.key, "equipment", item.pk])
    assert client.post(address, form_values(client, address) | {"place": "x", "reason": ""}).status_code == 422
    item.refresh_from_db()
    assert (item.place, item.row_version) == ("", 1)


def test_a_scan_that_is_none_is_refused_and_a_real_one_kept(settings: Any, tmp_path: Any) -> None:
    settings.EVIDENCE_DIR = tmp_path
    site = make.site()
    client = signed_in(make.user(site, "supervisor"))
    typed = {
        "person": make.person(site).pk,
        "kind": make.qualification_kind(site.organisation).pk,
        "issued_on": "14 Mar 2025",
    }
    address = reverse("records:add", args=[site.key, "qualification"])
    bad = client.post(address, typed | {"upload": SimpleUploadedFile("paper.png", b"#!/bin/sh")})
    assert bad.status_code == 422
    assert not QualificationHeld.objects.exists()
    # the smallest PNG: one pixel, made by an image library
    import io

    from PIL import Image

    picture = io.BytesIO()
    Image.new("RGB", (1, 1)).save(picture, "PNG")
    good = client.post(address, typed | {"upload": SimpleUploadedFile("paper.png", picture.getvalue())})
    assert good.status_code == 302
    scan = QualificationHeld.objects.get().scan
    assert scan is not None
    assert scan.media_type == "image/png"
