"""Writing sheets: rows without script, versions, differences, taking over from the reference."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from facility import events
from facility.models import CheckSheet, Event, SheetVersion
from facility.walk.reference import default_sheets
from facility.walk.sheet_form import EMPTY, moved, posted_rows, rows_of, steps_from
from facility.walk.sheet_services import VersionDraft, VersionMeanwhileError, save_version
from tests import make
from tests.walk.conftest import client_of
from tests.walk.walking import World

ACTS = st.lists(st.tuples(st.sampled_from(["up", "down", "add", "remove", "fly", ""]), st.integers(-2, 8)), max_size=12)


@given(ACTS)
def test_moving_rows_loses_none_and_makes_none(acts: list[tuple[str, int]]) -> None:
    rows = rows_of(make.STEPS)
    for name, place in acts:
        before = [row["key"] for row in rows if row["key"]]
        rows = moved(rows, f"{name}-{place}")
        after = [row["key"] for row in rows if row["key"]]
        assert len(before) - len(after) in ((0, 1) if name == "remove" else (0,))
        assert set(after) <= set(before)


@pytest.mark.parametrize("sheet", list(default_sheets().values()), ids=lambda sheet: sheet.key)
def test_a_sheet_survives_its_own_form(sheet: Any) -> None:
    rows = rows_of(list(sheet.plain))
    posted = {"rows": str(len(rows))} | {
        f"{place}.{name}": text for place, row in enumerate(rows) for name, text in row.items()
    }
    assert posted_rows(posted) == rows
    assert steps_from(rows) == list(sheet.plain)


def test_a_new_row_gets_a_key_of_its_own() -> None:
    rows = [EMPTY | {"text": "Door seal", "group": "A"}, EMPTY | {"text": "Door seal", "group": "A"}, dict(EMPTY)]
    assert [step["key"] for step in steps_from(rows)] == ["door-seal", "door-seal-2"]


def draft(steps: list[dict[str, Any]], **more: Any) -> VersionDraft:
    fields: dict[str, Any] = {
        "approved_by": "Ina Test",
        "in_force_from": events.now(),
        "reason": "because",
        "shown": 1,
    } | more
    return VersionDraft(steps, **fields)


pytest_db = pytest.mark.django_db


@pytest_db
def test_a_new_version_takes_the_place_of_the_old_one(w: World) -> None:
    version = save_version(w.sheet, draft(make.STEPS[:2]), by=w.by)
    old = SheetVersion.objects.get(sheet=w.sheet, version=1)
    assert (version.version, version.supersedes, old.is_current, old.retired_reason) == (2, old, False, "because")
    assert Event.objects.filter(action="superseded", reason="because").count() == 1


@pytest_db
def test_of_two_who_change_a_sheet_the_second_is_told(w: World) -> None:
    save_version(w.sheet, draft(make.STEPS[:2]), by=w.by)
    with pytest.raises(VersionMeanwhileError, match="Version 2 was stored by"):
        save_version(w.sheet, draft(make.STEPS[:3]), by=w.by)
    assert w.sheet.versions.count() == 2


@pytest_db
@pytest.mark.parametrize(
    ("steps", "more", "says"),
    [
        ([], {}, "at least one step"),
        ([make.STEPS[0] | {"tag": "XX-1"}], {}, "no item with the tag “XX-1”"),
        ([make.STEPS[1] | {"bank": "oxygen-9"}], {}, "no gas bank “oxygen-9”"),
        (make.STEPS[:1], {"reason": " "}, "Give a reason"),
        (make.STEPS[:1], {"in_force_from": events.now() + timedelta(days=400)}, "in force once it is saved"),
    ],
)
def test_an_unclear_version_is_refused(w: World, steps: list[dict[str, Any]], more: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError) as refused:
        save_version(w.sheet, draft(steps, **more), by=w.by)
    assert says in refused.value.messages[0]
    assert w.sheet.versions.count() == 1


def posted(rows: list[dict[str, str]], **more: str) -> dict[str, str]:
    fields = {f"{place}.{name}": text for place, row in enumerate(rows) for name, text in row.items()}
    head = {
        "rows": str(len(rows)),
        "approved_by": "Ina Test",
        "in_force_from": "1 Jan 2026 08:00",
        "reason": "limits",
        "shown": "1",
    }
    return fields | head | more


@pytest.fixture
def director(w: World) -> Client:
    return client_of(w, "director")


@pytest_db
def test_rows_are_added_moved_previewed_and_saved_without_script(w: World, director: Client) -> None:
    address = reverse("walk:edit", args=[w.site.key, w.sheet.pk])
    rows = rows_of(make.STEPS)
    added = director.post(address, posted(rows, act="add-0"))
    assert [row["key"] for row in added.context["rows"]] == ["door", "", "supply", "speech", "place"]
    assert added.context["form"]["reason"].value() == "limits"
    rows = added.context["rows"]
    rows[1]["text"] = "Hinges"
    up = director.post(address, posted(rows, act="up-1")).context["rows"]
    preview = director.post(address, posted(up, act="preview"))
    assert [(change.key, change.what) for change in preview.context["preview"]["changes"]] == [("hinges", "added")]
    assert w.sheet.versions.count() == 1
    saved = director.post(address, posted(up, act="save"), follow=True)
    assert saved.status_code == 200
    assert "Version 2 is in force" in saved.content.decode()
    assert [step["key"] for step in w.sheet.versions.get(version=2).steps] == [
        "hinges",
        "door",
        "supply",
        "speech",
        "place",
    ]
    assert "<b>hinges</b> added" in saved.content.decode()


@pytest_db
def test_a_refused_version_keeps_every_row_on_the_page(w: World, director: Client) -> None:
    address = reverse("walk:edit", args=[w.site.key, w.sheet.pk])
    rows = rows_of(make.STEPS)
    rows[1]["low"], rows[0]["hint"] = "99", "look twice"
    page = director.post(address, posted(rows, act="save"))
    text = page.content.decode()
    assert page.status_code == 422
    assert "the lower limit 99 lies above the upper limit 9.0" in text
    assert 'value="look twice"' in text
    assert w.sheet.versions.count() == 1


@pytest_db
def test_a_version_stored_meanwhile_is_shown_beside(w: World, director: Client) -> None:
    address = reverse("walk:edit", args=[w.site.key, w.sheet.pk])
    save_version(w.sheet, draft(make.STEPS[:2]), by=w.by)
    page = director.post(address, posted(rows_of(make.STEPS), act="save"))
    assert page.status_code == 409
    assert "Version 2 was stored by" in page.content.decode()
    assert {(change.key, change.what) for change in page.context["preview"]["changes"]} == {
        ("speech", "added"),
        ("place", "added"),
    }
    again = director.post(
        address, posted(rows_of(make.STEPS), act="save", shown=str(page.context["form"]["shown"].value()))
    )
    assert again.status_code == 302
    assert w.sheet.versions.count() == 3


@pytest_db
def test_a_sheet_of_the_reference_is_taken_over_once(w: World, director: Client) -> None:
    address = reverse("walk:sheets", args=[w.site.key])
    entry = {"chamber": w.sheet.chamber_id, "default": "daily", "occasion": "daily", "approved_by": "Ina Test"}
    assert director.post(address, entry).status_code == 302
    stored = CheckSheet.objects.get(key="daily")
    assert len(stored.versions.get().steps) == len(default_sheets()["daily"].steps)
    again = director.post(address, entry)
    assert again.status_code == 422
    assert CheckSheet.objects.filter(key="daily").count() == 1


@pytest_db
def test_a_sheet_of_ones_own_needs_a_title(w: World, director: Client) -> None:
    address = reverse("walk:sheets", args=[w.site.key])
    entry = {"chamber": w.sheet.chamber_id, "default": "", "occasion": "weekly", "approved_by": "Ina Test"}
    assert "Give the sheet a title" in director.post(address, entry).content.decode()
    assert director.post(address, entry | {"title": "Weekly look"}).status_code == 302
    assert CheckSheet.objects.get(key="weekly-look").occasion == "weekly"
