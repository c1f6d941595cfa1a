"""The Why page: every finding once, in its group, and sums that a pencil confirms."""

from __future__ import annotations

from facility.readiness.why import Why, span_words, why_of
from tests.facility.readiness_pages import sample


def why(number: int) -> Why:
    shape, about = sample.METAS[number]
    return why_of(shape, about, sample.NOW, sample.ZONE)


def test_every_finding_stands_in_exactly_one_group() -> None:
    for number, (shape, _about) in enumerate(sample.METAS):
        keys = [item.key for group in why(number).groups for item in group.items]
        assert sorted(keys) == sorted(shape["findings"])


def test_the_worst_group_comes_first_and_holds_come_last_by_their_ends() -> None:
    limited = why(1).groups
    assert [group.title for group in limited] == ["Limits the run", "Holds, the first to end on top"]
    assert [item.key for item in limited[1].items] == ["crew", "check", "fire", "vessel", "depth"]
    assert next(group.title for group in why(2).groups) == "Stops the run"
    assert next(group.title for group in why(3).groups) == "Not known"


def test_the_start_by_sum_is_end_less_what_it_must_hold() -> None:
    # by hand: 01:00 less 7 h 00 = 18:00 the day before
    lines = [(line.words, line.figure) for line in why(1).sums[0].lines]
    assert lines == [
        ("Crew holds until", "01:00 tomorrow"),
        ("It must hold for", "\u2212 7 h 00"),
        ("Start before", "18:00 today"),
        ("A run started then ends", "01:00 tomorrow"),
    ]


def test_nothing_is_subtracted_from_what_counts_at_the_start_only() -> None:
    lines = [(line.words, line.figure) for line in why(0).sums[0].lines]
    assert ("It counts at the start only", "\u2212 0 h 00") in lines
    assert ("Start before", "07:42 tomorrow") in lines


def test_the_parts_of_a_run_add_up_or_are_not_shown() -> None:
    shape, about = sample.METAS[1]
    assert [line.figure for line in why(1).sums[1].lines] == ["4 h 45", "0 h 50", "0 h 55", "0 h 30", "7 h 00"]
    wrong = why_of(shape | {"duration_min": 421}, about, sample.NOW, sample.ZONE)
    assert [one.title for one in wrong.sums] == ["Until when may it start"]


def test_what_stops_or_is_not_known_has_no_time_until_which_it_is_good() -> None:
    assert {item.until for item in why(2).groups[0].items} == {"missing"}
    assert {item.until for item in why(3).groups[0].items} == {"not known"}


def test_what_cannot_start_has_no_start_by_sum() -> None:
    assert why(2).sums == ()
    assert why(3).sums == ()


def test_the_findings_are_counted() -> None:
    assert why(1).counted == "6 needs looked at: 5 hold, 1 limit, 0 stop, 0 not known."
    assert why(2).groups[0].items[1].counts == "2 of 3 places filled"


def test_a_waiver_never_hides_what_it_waives() -> None:
    shape, about = sample.METAS[0]
    waived = sample.finding("limits", waived=True, without_waiver="stops")
    page = why_of(shape | {"findings": {"check": waived}}, about, sample.NOW, sample.ZONE)
    item = page.groups[0].items[0]
    assert (item.mark, item.waived) == ("waiver", "Under waiver; without it: stops")


def test_a_span_is_written_in_hours_and_minutes() -> None:
    assert [span_words(minutes) for minutes in (0, 59, 60, 518)] == ["0 h 00", "0 h 59", "1 h 00", "8 h 38"]
