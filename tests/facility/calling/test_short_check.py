"""The short check of a call-out, and the full one owed afterwards."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.compute.sheets import Kind, SheetError, Step, Typed, parse_steps, plain_step
from facility.models import Check, CheckResult
from facility.readiness.fill import open_things
from facility.readiness.page_rows import page_rows
from facility.walk.sheet_form import rows_of, steps_from
from tests import make
from tests.facility.readiness_db import build
from tests.walk import walking
from tests.walk.walking import World
from treatments.calling import calls
from treatments.calling.short_checks import owed_by
from treatments.models import CallOut

pytestmark = pytest.mark.django_db
STEPS: list[dict[str, Any]] = [
    step | ({"critical": True} if step["key"] in ("door", "speech") else {}) for step in make.STEPS
]
OPEN = ("supply", "place")


@pytest.fixture
def w() -> World:
    return walking.world(occasion="before_run", steps=STEPS)


@pytest.fixture
def client_in(w: World) -> Client:
    client = Client()
    client.force_login(w.user)
    return client


def begin_call(w: World) -> CallOut:
    return calls.begin(w.sheet.chamber, [], by=make.BY)


def walked(w: World, *, leave_out: tuple[str, ...] = ()) -> Check:
    check = walking.begin(w)
    walking.all_good(w, check, leave_out=leave_out)
    return walking.sign(w, check)[0]


def titles(w: World) -> list[str]:
    return [thing.title for thing in open_things(w.site, page_rows(w.site, [w.sheet.chamber]), [])]


def test_a_step_is_critical_only_where_the_sheet_says_so() -> None:
    door, supply, *_others = parse_steps(STEPS)
    assert (door.critical, supply.critical) == (True, False)
    assert plain_step(Step("door", "Doors", Kind.LOOK, "Seal", critical=True))["critical"] is True
    assert "critical" not in plain_step(supply)
    with pytest.raises(SheetError, match="critical must be yes or no"):
        parse_steps([STEPS[0] | {"critical": "yes"}])


def test_the_editor_keeps_the_mark() -> None:
    assert [step.get("critical", False) for step in steps_from(rows_of(STEPS))] == [True, False, True, False]


def test_the_walk_of_a_call_out_lists_the_critical_steps_in_walking_order(w: World, client_in: Client) -> None:
    call = begin_call(w)
    page = client_in.get(reverse("readiness:call", args=[w.site.key, call.pk])).content.decode()
    assert "2 critical steps first." in page
    client_in.post(reverse("walk:start", args=[w.site.key, w.sheet.pk]))
    check = Check.objects.get()
    walking.give(w, check, "door", Typed("good"))
    shown = client_in.get(reverse("walk:check", args=[w.site.key, check.pk]))
    assert [(one.step.key, one.answered) for one in shown.context["short"]] == [("door", True), ("speech", False)]
    assert shown.context["stop"].group.name == "Inside"  # the station of the next critical step
    assert "Short check: 2 critical steps" in shown.content.decode()


def test_without_a_call_out_the_walk_shows_no_short_check(w: World, client_in: Client) -> None:
    check = walking.begin(w)
    assert client_in.get(reverse("walk:check", args=[w.site.key, check.pk])).context["short"] == []


def test_a_sheet_without_critical_steps_is_offered_whole(client_in: Client, w: World) -> None:
    make.sheet(w.sheet.chamber, occasion="before_run")
    page = client_in.get(reverse("readiness:call", args=[w.site.key, begin_call(w).pk])).content.decode()
    assert page.count("No step of this sheet is marked critical; walk the whole sheet.") == 1


def test_a_short_check_is_no_pass_and_the_full_one_is_owed_until_it_is_signed(w: World, client_in: Client) -> None:
    call = begin_call(w)
    assert owed_by([call.pk]) == []
    short = walked(w, leave_out=OPEN)
    assert short.result == CheckResult.UNREAD
    assert [(one.sheet, one.short) for one in owed_by([call.pk])] == [(w.sheet, short)]
    owed = f"{w.sheet.title}, in full, is owed"
    assert titles(w) == [owed]
    assert owed in client_in.get(reverse("readiness:call", args=[w.site.key, call.pk])).content.decode()
    calls.over(call, "No run.", by=make.BY, shown_version=call.row_version)
    assert titles(w) == [owed]
    assert walked(w).result == CheckResult.PASSED
    assert titles(w) == []
    assert owed_by([call.pk]) == []


def test_a_full_check_signed_before_the_call_does_not_settle_it(w: World) -> None:
    walked(w)
    begin_call(w)
    walked(w, leave_out=OPEN)
    assert titles(w) == [f"{w.sheet.title}, in full, is owed"]


def test_a_short_check_signed_after_the_call_was_over_is_not_owed_by_it(w: World) -> None:
    call = begin_call(w)
    calls.over(call, "No run.", by=make.BY, shown_version=call.row_version)
    CallOut.objects.filter(pk=call.pk).update(ended_at=events.now())
    walked(w, leave_out=OPEN)
    assert owed_by([call.pk]) == []


def test_the_now_page_with_a_full_check_owed_asks_at_most_twelve_times(
    w: World, client_in: Client, django_assert_max_num_queries: Any
) -> None:
    begin_call(w)
    walked(w, leave_out=OPEN)
    with django_assert_max_num_queries(12):
        page = client_in.get(reverse("readiness:now", args=[w.site.key]))
    assert f"{w.sheet.title}, in full, is owed" in page.content.decode()


def test_two_sheets_of_one_chamber_are_owed_each_for_itself(w: World) -> None:
    other = make.sheet(w.sheet.chamber, occasion="before_run")
    make.sheet(w.sheet.chamber)  # a daily sheet is never owed by a call
    begin_call(w)
    walked(w, leave_out=OPEN)
    second = World(w.site, other, w.user, w.second)
    walked(second, leave_out=OPEN)
    assert titles(w) == [f"{one.title}, in full, is owed" for one in (w.sheet, other)]
    walked(second)
    assert titles(w) == [f"{w.sheet.title}, in full, is owed"]


def test_a_linked_run_that_left_surface_without_a_check_owes_the_full_one(w: World) -> None:
    call = begin_call(w)
    now = events.now()
    run = build.run(build.plan(w.sheet.chamber, "tt6"), now, now + timedelta(hours=5))
    calls.over(call, "Treated.", by=make.BY, shown_version=call.row_version, run=run)
    assert [(one.sheet, one.short) for one in owed_by([call.pk])] == [(w.sheet, None)]
    assert f"{w.sheet.title}, in full, is owed" in titles(w)
    walked(w)
    assert owed_by([call.pk]) == []
