"""The sentences of the Now page, word for word as they were agreed, and the times in them by hand."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from facility.compute.instants import instant_of
from facility.readiness.rows import plan_row
from facility.readiness.sentences import listed, reason, sentence, start_by
from facility.readiness.times import of_run, until
from tests.facility.readiness_pages import sample

AT = instant_of(sample.NOW)  # 14:20 by the clock of the site, which is one hour ahead of UTC
READY, LIMITED, REFUSED, UNKNOWN = "Ready", "Ready with limits", "Not ready", "Not known"


@pytest.mark.parametrize(
    ("plans", "said"),
    [
        ([("Table 5", READY), ("Table 6", READY), ("Table 6A", REFUSED), ("Table 9", UNKNOWN)],
         "Tables 5 and 6 can start now. 6A cannot. 9 is not known."),
        ([("Table 5", READY), ("Table 6", LIMITED)], "Table 5 can start now. 6 can start now, with limits."),
        ([("Table 5", LIMITED), ("Table 6", UNKNOWN), ("Table 9", UNKNOWN)],
         "Table 5 can start now, with limits. 6 and 9 are not known."),
        ([("Table 5", REFUSED), ("Table 6", REFUSED)], "No table can start now."),
        ([("Table 5", REFUSED), ("Table 6", UNKNOWN)], "No table can start now. 5 cannot. 6 is not known."),
        ([("Table 5", UNKNOWN), ("Table 6", UNKNOWN)], "Tables 5 and 6 are not known."),
        ([("Table 5", READY), ("Table 1A, air, oxygen lost", READY), ("Table 9", LIMITED), ("Training run, 60 fsw", UNKNOWN)],
         "Tables 5 and 1A (air, oxygen lost) can start now. Table 9 can start now, with limits. Training run (60 fsw) is not known."),
        ([("Table 6", READY)], "Table 6 can start now."),
        ([("Table 6", REFUSED)], "No table can start now."),
        ([("TT6, one patient", READY), ("Table 5", REFUSED)], "TT6 (one patient) can start now. Table 5 cannot."),
    ],
)  # fmt: skip
def test_the_page_opens_with_what_can_be_said_on_the_telephone(plans: list[tuple[str, str]], said: str) -> None:
    assert sentence(plans) == said


def test_a_site_without_plans_is_told_that_nothing_is_known() -> None:
    assert "nothing is known" in sentence([])


@pytest.mark.parametrize(
    ("names", "joined"), [([], ""), (["5"], "5"), (["5", "6"], "5 and 6"), (["5", "6", "9"], "5, 6 and 9")]
)
def test_names_are_joined_as_one_says_them(names: list[str], joined: str) -> None:
    assert listed(names) == joined


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (sample.READY, "Start before 07:42 tomorrow"),  # 06:42 UTC on the 27th
        (sample.LIMITED, "Start before 18:00 today"),
        (sample.REFUSED, "Not before 17:10 today"),
        (sample.UNKNOWN, "Find out first: Overboard dump, seat 3"),
        (sample.READY | {"holds_until": "2026-11-26T23:00Z"}, "Start before 24:00 today"),
        (sample.READY | {"holds_until": "2026-12-03T23:00Z"}, "Start before 24:00 Thu 3 Dec"),
        (sample.READY | {"holds_until": "2027-05-27T22:00Z"}, "Start before 24:00 27 May 2027"),
        (sample.READY | {"holds_until": None}, "No end on record"),
        (sample.REFUSED | {"ready_from": None}, "Not before it is lifted"),
        (sample.REFUSED | {"ready_from": "2026-11-26T23:00Z"}, "Not before 00:00 tomorrow"),
        (sample.UNKNOWN | {"in_the_way": []}, "Nothing to go by"),
    ],
)  # fmt: skip
def test_the_line_under_a_state_says_until_when_from_when_or_what_to_find_out(
    shape: dict[str, object], said: str
) -> None:
    assert str(start_by(shape, sample.NAMES, AT, sample.ZONE)) == said


def test_a_refusal_names_the_first_thing_missing_who_lifts_it_and_how_many_more() -> None:
    assert reason(sample.REFUSED, sample.NAMES) == (
        "Air store: 412 m³ counted, 538 m³ needed. Can be lifted by: the supervisor, by charging bank B. 1 more in the way."
    )


def test_a_limit_is_named_before_what_ends_first() -> None:
    assert reason(sample.LIMITED, sample.NAMES) == (
        "Oxygen for extensions: enough for two, not for four. First to end: Crew."
    )


def test_a_plan_that_rests_on_nothing_says_what_to_write() -> None:
    bare = sample.evaluation(UNKNOWN, 160, {})
    assert "rests on nothing" in reason(bare, {})


def test_a_due_day_is_shown_as_that_day_and_not_as_the_next() -> None:
    # good through Thu 3 Dec at the site: until 23:00 UTC, in 7 d 9 h 40 = 10 660 min (by hand: 7 * 1440 + 580)
    assert until(7 * 1440 + 580, AT, sample.ZONE) == "3 Dec"
    assert until(9 * 60 + 40, AT, sample.ZONE) == "24:00"


def test_elapsed_time_and_not_the_clock_counts_when_clocks_go_back() -> None:
    # 25 Oct 2026 03:00 summer time becomes 02:00 in Europe/Oslo (zone database): 7 h from 23:30 end at 05:30
    at = instant_of(datetime(2026, 10, 24, 21, 30, tzinfo=UTC))
    assert of_run(0, 7 * 60, at, "Europe/Oslo") == "23:30 to 05:30"


def test_a_row_has_an_end_only_where_a_run_may_start() -> None:
    rows = sample.rows()
    assert [row.ends is not None for row in rows] == [True, True, False, False]
    assert rows[1].start_by == datetime(2026, 11, 26, 17, 0, tzinfo=UTC)
    assert [row.mark for row in rows] == ["ready", "limits", "stop", "unknown"]


def test_a_word_that_is_no_state_is_refused() -> None:
    with pytest.raises(ValueError, match="Splendid"):
        plan_row(sample.READY | {"state": "Splendid"}, sample.METAS[0][1], sample.NOW, sample.ZONE)
