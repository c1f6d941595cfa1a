"""What an entry of the log may say, and the words of each refusal."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.compute.log_kinds import KINDS, Asked
from treatments.compute.log_times import ago, typed_time
from treatments.compute.log_values import Checked, LogDoubtError, LogRefusedError, Typed, check
from treatments.log.spans import depth_spans, rules_for, spans
from treatments.models import LogEntry, LogKind

OSLO = ZoneInfo("Europe/Oslo")


def checked(kind: str, **fields: object) -> Checked:
    return check(Typed(kind, **fields), spans(), depth_spans())  # type: ignore[arg-type]


def test_every_kind_of_entry_is_described_and_fits_its_column() -> None:
    assert set(KINDS) == set(LogKind.values)
    longest = LogEntry._meta.get_field("kind").max_length or 0
    assert max(len(kind) for kind in KINDS) <= longest


def test_every_number_of_the_log_has_a_span() -> None:
    numbers = {v.key for k in KINDS.values() for v in k.values if v.form != "choice" and v.key != "bank_pressure"}
    assert numbers <= set(spans())
    assert set(depth_spans()) == {"fsw", "msw", "bar", "kPa", "MPa", "psi"}


@pytest.mark.parametrize(("text", "stored"), [("21,1", "21.1"), ("21.1", "21.1"), ("+21", "21")])
def test_a_reading_takes_decimal_comma_and_point_alike(text: str, stored: str) -> None:
    assert checked("reading", values={"o2_percent": text}).values == {"o2_percent": stored}


@pytest.mark.parametrize("text", ["1,234", "1 234", "1.234.567"])
def test_a_thousand_separator_in_the_log_is_refused(text: str) -> None:
    with pytest.raises(LogRefusedError, match="thousand separator"):
        checked("ventilation", values={"ventilation_acfm": text})


def test_211_percent_oxygen_cannot_be_and_21_written_as_40_is_asked_about_once() -> None:
    with pytest.raises(LogRefusedError, match=r"211 % cannot be. Allowed: 0 to 100 %"):
        checked("reading", values={"o2_percent": "211"})
    with pytest.raises(LogDoubtError, match=r"40 %\? oxygen in the chamber is usually between 15 and 30 %"):
        checked("reading", values={"o2_percent": "40"})
    assert checked("reading", values={"o2_percent": "40"}, sure=True).values == {"o2_percent": "40"}


def test_3000_bar_of_oxygen_is_impossible_and_a_bank_needs_the_unit_of_its_gauge() -> None:
    with pytest.raises(LogRefusedError, match="3000 bar cannot be"):
        checked("reading", values={"bank_pressure": "3000", "bank_unit": "bar"}, sure=True)
    with pytest.raises(LogRefusedError, match="unit is missing"):
        checked("reading", values={"bank_pressure": "121"})
    assert checked("reading", values={"o2_percent": "21", "bank_unit": "bar"}).values == {"o2_percent": "21"}


def test_a_depth_is_needed_where_one_was_reached_and_keeps_its_unit() -> None:
    with pytest.raises(LogRefusedError, match="depth is missing"):
        checked("reached_depth")
    with pytest.raises(LogRefusedError, match="“fathom” is no unit of a depth gauge"):
        checked("reached_depth", depth="10", depth_unit="fathom")
    with pytest.raises(LogRefusedError, match="more than 2 decimals"):
        checked("reached_depth", depth="60.125", depth_unit="fsw")
    found = checked("reached_depth", depth="18,3", depth_unit="msw")
    assert (str(found.depth), found.depth_unit) == ("18.3", "msw")


def test_600_fsw_is_asked_about_once_and_then_taken() -> None:
    with pytest.raises(LogDoubtError, match="600 fsw"):
        checked("reading", depth="600", depth_unit="fsw")
    assert checked("reading", depth="600", depth_unit="fsw", sure=True).depth == 600


def test_oxygen_is_about_one_person_and_a_depth_about_none() -> None:
    with pytest.raises(LogRefusedError, match="Say whom it is about"):
        checked("oxygen_on")
    with pytest.raises(LogRefusedError, match="not about one person"):
        checked("left_depth", occupant=True)
    with pytest.raises(LogRefusedError, match="has no depth"):
        checked("oxygen_on", occupant=True, depth="60", depth_unit="fsw")


@pytest.mark.parametrize("kind", ["reading", "note"])
def test_an_empty_entry_is_no_entry(kind: str) -> None:
    with pytest.raises(LogRefusedError, match="entry is empty"):
        checked(kind)


def test_an_unknown_kind_value_or_choice_is_named_with_what_there_is() -> None:
    with pytest.raises(LogRefusedError, match="“lunch” is no kind"):
        checked("lunch")
    with pytest.raises(LogRefusedError, match="“salinity” is no value"):
        checked("reading", values={"salinity": "3"})
    with pytest.raises(LogRefusedError, match="“sad” is not taken. Allowed: pain, numbness"):
        checked("symptom", occupant=True, values={"code": "sad"})
    with pytest.raises(LogRefusedError, match="not whole"):
        checked("extension", values={"extension_depth_fsw": "60", "extension_count": "1.5"})


@given(st.sampled_from(sorted(KINDS)), st.text(max_size=12), st.dictionaries(st.text(max_size=8), st.text(max_size=8)))
def test_whatever_is_typed_is_taken_or_refused_in_words(kind: str, depth: str, values: dict[str, str]) -> None:
    known = {one.key: text for one, text in zip(KINDS[kind].values, values.values(), strict=False)}
    occupant = KINDS[kind].occupant is Asked.NEEDED
    with suppress(LogRefusedError):
        found = checked(kind, depth=depth, depth_unit="fsw", values=known, occupant=occupant)
        assert found.depth is None or found.depth >= 0
        assert set(found.values) <= {one.key for one in KINDS[kind].values}


def test_a_time_of_day_is_the_last_one_that_the_sites_clock_showed() -> None:
    """Oslo is one hour ahead of UTC in winter (IANA time zone database)."""
    near = datetime(2026, 11, 27, 0, 10, tzinfo=UTC)  # 01:10 in Oslo
    assert typed_time("01:08", OSLO, near) == datetime(2026, 11, 27, 0, 8, tzinfo=UTC)
    assert typed_time("23:50:30", OSLO, near) == datetime(2026, 11, 26, 22, 50, 30, tzinfo=UTC)


def test_a_time_that_the_clocks_show_twice_is_refused_and_its_offset_asked_for() -> None:
    """Clocks in Oslo go back from 03:00 to 02:00 on 25 October 2026 (IANA time zone database)."""
    near = datetime(2026, 10, 25, 2, 0, tzinfo=UTC)
    with pytest.raises(LogRefusedError, match="twice that day"):
        typed_time("02:10", OSLO, near)
    assert typed_time("2026-10-25T02:10+01:00", OSLO, near) == datetime(2026, 10, 25, 1, 10, tzinfo=UTC)


def test_three_time_zones_are_told_apart_by_their_offset_and_a_bare_instant_is_refused() -> None:
    near = datetime(2026, 11, 27, 15, 0, tzinfo=UTC)
    same = {typed_time(text, OSLO, near) for text in
            ("2026-11-27T15:00+01:00", "2026-11-27T14:00Z", "2026-11-28T03:00+13:00", "15:00", "27 Nov 2026 15:00")}  # fmt: skip
    assert same == {datetime(2026, 11, 27, 14, 0, tzinfo=UTC)}
    with pytest.raises(LogRefusedError, match="does not say in which time zone"):
        typed_time("2026-11-27T15:00", OSLO, near)


@pytest.mark.parametrize("text", ["25:00", "12:60", "noon", "2026-11-27Tx", "27/11/2026 15:00"])
def test_no_time_is_guessed(text: str) -> None:
    with pytest.raises(LogRefusedError, match=r"no time|no instant"):
        typed_time(text, OSLO, datetime(2026, 11, 27, 15, 0, tzinfo=UTC))


def test_a_time_after_now_is_refused() -> None:
    with pytest.raises(LogRefusedError, match="lies after now"):
        typed_time("2026-11-27T16:00Z", OSLO, datetime(2026, 11, 27, 15, 0, tzinfo=UTC))


def test_what_waited_on_a_device_longer_than_a_month_counts_as_a_month() -> None:
    now = datetime(2026, 11, 27, tzinfo=UTC)
    assert ago(1e12, now) == now - timedelta(days=30)
    assert ago(-5, now) == now


def test_the_handbooks_words_carry_their_source_and_standing() -> None:
    for kind in ("oxygen_toxicity", "oxygen_lost", "relief"):
        found = rules_for(kind)
        assert found
        assert all(one.source and one.standing for one in found)
