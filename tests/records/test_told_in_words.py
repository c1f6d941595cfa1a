"""Events and histories in words: nothing nested is shown raw, instants by the clock of the site, the exact text kept.

Offsets of Oslo by the IANA time zone data: +01:00 in winter, +02:00 from 29 Mar 2026 01:00 to 25 Oct 2026 01:00 UTC.
"""

from __future__ import annotations

import html
import json
import re
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from facility import services
from facility.history import timeline
from facility.models import Event
from facility.nested import MOST_ROWS, told, with_local
from facility.readiness.runs.then import then
from maintenance.models import Supply
from tests import make
from tests.records.test_kinds import signed_in
from tests.treatments.figures.story import LEFT, entry, run_of
from treatments.models import Run

OSLO = ZoneInfo("Europe/Oslo")
COMPUTED = {
    "computed_at": "2026-03-28T15:30:00+00:00",
    "figures": {"people": [{"label": "patient 1", "inside_now": False, "dose": {"uptd": 612.25}}], "waits": []},
    "times": ["2026-03-29T02:10:00+00:00", "2026-03-29T00:10:00+00:00"],
}
#: as runs kept it before times were written by the site's clock
IN_UTC = (
    "Chamber 1, 2026-03-28T09:00Z\nTable 6: Ready, until 2026-03-29T02:10Z, limited by Daily check signed\n"
    "Deep: shallow: Not ready, in the way: Oxygen, ready from 2026-03-29T00:10Z\nFrom records only."
)


def words_of(page: str) -> str:
    """Return what a reader sees of a page: no tags, entities as letters, one space."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def closed_run() -> Run:
    run = run_of(make.site(zone="Europe/Oslo"), left=LEFT, shown=IN_UTC)
    run.computed = COMPUTED
    return services.change(run, by=make.BY, reason="Record closed.", shown_version=run.row_version)


def test_the_instants_of_a_text_kept_in_utc_stand_beside_the_clock_of_the_site_over_the_spring_change() -> None:
    assert with_local("until 2026-03-29T00:10Z, then 2026-03-29T02:10:30+00:00.", OSLO) == (
        "until 2026-03-29T00:10Z (29 Mar 2026 01:10 +01:00), then 2026-03-29T02:10:30+00:00 (29 Mar 2026 04:10:30 +02:00)."
    )


@pytest.mark.parametrize("text", ["until 29 Mar 2026 04:10", "2026-13-01T00:00Z", "9999-12-31T23:59Z", "0001-01-01T00:00Z",
                                  "2026-03-29T04:10+02:00"])  # fmt: skip
def test_what_is_no_instant_or_is_by_that_clock_already_stays_as_it_is(text: str) -> None:
    assert with_local(text, OSLO) == text


def test_what_was_shown_is_a_row_for_each_plan_with_the_sites_time_beside_each_instant() -> None:
    found = then(IN_UTC, OSLO, LEFT)
    assert [(one.plan, one.state) for one in found.plans] == [("Table 6", "Ready"), ("Deep: shallow", "Not ready")]
    assert "(29 Mar 2026 04:10 +02:00), limited by Daily check signed" in found.plans[0].rest
    assert found.before == ("Chamber 1, 2026-03-28T09:00Z (28 Mar 2026 10:00 +01:00)",)
    assert (found.after, found.in_utc, found.offset) == (("From records only.",), True, "+01:00")


@given(st.text())
def test_whatever_was_kept_nothing_of_it_is_lost(text: str) -> None:
    found = then(text, OSLO, LEFT)
    said = " ".join([*found.before, *(f"{one.plan} {one.state} {one.rest}" for one in found.plans), *found.after])
    assert {one for one in said.lower() if one.isalnum()} >= {one for one in text.lower() if one.isalnum()}


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
                    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20))  # fmt: skip
def test_any_stored_value_is_told_and_the_same_before_and_after_is_no_difference(value: object) -> None:
    text = json.dumps(value)
    assert told(text, text, OSLO).rows == ()
    assert told("", text, OSLO).after


def test_a_plain_list_stands_in_its_line() -> None:
    """Days on which a supplier delivers: 1 Monday to 7 Sunday."""
    found = told("[2]", "[2, 5]", OSLO)
    assert (found.before, found.after, found.folded) == ("2", "2, 5", False)


@pytest.mark.parametrize(("depth", "rows"), [(3, ["7"]), (30, ["…"]), (400, ["…"]), (100_000, [])])
def test_what_is_nested_without_end_is_told_as_far_as_anybody_reads(depth: int, rows: list[str]) -> None:
    found = told("", "[" * depth + "7" + "]" * depth, OSLO)
    assert [one.after for one in found.rows] == rows
    assert found.after


def test_only_what_differs_is_told_and_no_more_than_a_page_holds() -> None:
    found = told(json.dumps({"a": 1, "depth_fsw": 30.0}), json.dumps({"a": 1, "depth_fsw": 29.8}), OSLO)
    assert [(one.where, one.before, one.after) for one in found.rows] == [("Depth fsw", "30", "29.8")]
    many = told("", json.dumps({f"n{n}": n for n in range(MOST_ROWS + 7)}), OSLO)
    assert (len(many.rows), many.more, many.after) == (MOST_ROWS, 7, f"{MOST_ROWS + 7} values")


@pytest.mark.django_db
def test_the_page_of_a_run_tells_its_figures_in_words_and_no_nested_text_is_raw() -> None:
    run = closed_run()
    site = run.chamber.site
    page = (
        signed_in(make.user(site, "inspector")).get(reverse("treatments:run", args=[site.key, run.pk])).content.decode()
    )
    said = words_of(page)
    assert '{"' not in said
    assert "Computed: 5 values" in said
    assert "Figures, people 1, dose, uptd 612.25" in said
    assert "Figures, people 1, inside now no" in said
    assert "Computed at 28 Mar 2026 16:30 +01:00" in said
    assert "29 Mar 2026 04:10 +02:00, 29 Mar 2026 01:10 +01:00" in said
    assert "Kept with its times in UTC" in said
    assert run.shown == IN_UTC


@pytest.mark.django_db
def test_the_event_of_it_tells_the_same_and_holds_the_exact_text() -> None:
    run = closed_run()
    site = run.chamber.site
    event = Event.objects.latest("seq")
    page = (
        signed_in(make.user(site, "inspector"))
        .get(reverse("places:event", args=[site.key, event.seq]))
        .content.decode()
    )
    table, _digest, exact = page.partition("SHA-256")
    assert '{"' not in words_of(table)
    assert "Computed at 28 Mar 2026 16:30 +01:00" in words_of(table)
    assert event.payload in html.unescape(exact)


@pytest.mark.django_db
def test_a_text_of_several_lines_that_changed_is_told_on_both_sides() -> None:
    run = closed_run()
    run.shown = "one line"
    run = services.change(run, by=make.BY, reason="typed wrongly", shown_version=run.row_version)
    (change,) = timeline(run, OSLO)[0].changes
    assert change.told is not None
    assert len(change.told.old_lines) == IN_UTC.count("\n") + 1
    assert change.told.lines == ("one line",)


@pytest.mark.django_db
def test_a_history_tells_a_list_that_changed_as_it_is_read() -> None:
    row = services.add(Supply(site=make.site(), gas="O2", supplier="Gas works", lead_days=3, weekdays=[2]), by=make.BY)
    row.weekdays = [2, 5]
    row = services.change(row, by=make.BY, reason="comes on Fridays too", shown_version=row.row_version)
    (change,) = timeline(row, OSLO)[0].changes
    assert (change.before, change.after, change.told) == ("2", "2, 5", None)


@pytest.mark.django_db
def test_when_it_happened_is_told_by_the_clock_of_the_site() -> None:
    """03 min after leaving surface at 09:00 UTC."""
    run = run_of(make.site(zone="Europe/Oslo"), left=LEFT)
    entry(run, 3, "reached_depth", depth="60")
    event, site = Event.objects.latest("seq"), run.chamber.site
    page = (
        signed_in(make.user(site, "inspector"))
        .get(reverse("places:event", args=[site.key, event.seq]))
        .content.decode()
    )
    assert "Happened at, as stated 28 Mar 2026 10:03 +01:00" in words_of(page)
