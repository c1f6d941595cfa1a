"""How instants, spans and numbers are printed, by hand and by the zone database."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from django.template import Context, Template

from facility import events
from facility.event_words import who
from facility.templatetags import deepstead

STATIC = Path(__file__).parents[3] / "facility" / "static" / "facility"


def test_an_instant_is_printed_by_the_clock_of_the_site() -> None:
    moment = datetime(2026, 11, 27, 17, 0, tzinfo=UTC)
    # zone database: Oslo is UTC+1 in November, Kathmandu UTC+5:45
    assert deepstead.when(moment, "Europe/Oslo") == "27 Nov 2026 18:00"
    assert deepstead.when(moment, "Asia/Kathmandu") == "27 Nov 2026 22:45"
    assert deepstead.day(datetime(2026, 11, 27, 23, 30, tzinfo=UTC), "Europe/Oslo") == "28 Nov 2026"
    assert deepstead.day(date(2026, 2, 3)) == "3 Feb 2026"
    assert deepstead.weekday(date(2026, 11, 26)) == "Thu"
    assert deepstead.when(None) == ""


def test_the_frame_prints_in_the_zone_of_the_site_and_not_of_the_server() -> None:
    page = Template("{% load deepstead tz %}{% site_zone as zone %}{% timezone zone %}{{ at|when }}{% endtimezone %}")

    class Site:
        zone = "Asia/Kathmandu"

    class Visit:
        site = Site()

    at = datetime(2026, 11, 27, 17, 0, tzinfo=UTC)
    assert page.render(Context({"visit": Visit(), "at": at})) == "27 Nov 2026 22:45"
    assert page.render(Context({"at": at})) == "27 Nov 2026 17:00"


def test_an_end_at_midnight_is_the_end_of_the_day_before() -> None:
    # zone database: 23:00 UTC is midnight in Oslo in November
    assert deepstead.end("2026-12-03T23:00Z", "Europe/Oslo") == "3 Dec 2026 24:00"
    assert deepstead.end("2026-12-03T22:59Z", "Europe/Oslo") == "3 Dec 2026 23:59"
    assert deepstead.instant("2026-12-03T23:00Z", "Europe/Oslo") == "4 Dec 2026 00:00"
    assert deepstead.end(None) == deepstead.instant(None) == ""


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (0, "0 min"), (38, "38 min"), (60, "1 h 00"), (518, "8 h 38"), (2879, "47 h 59"), (2880, "2 d"),
        (2880 + 180, "2 d 3 h"), (-35, "\u221235 min"), ("", ""), (None, ""), ("no", ""),
    ],
)  # fmt: skip
def test_a_span_is_printed_in_the_units_one_says(value: object, printed: str) -> None:
    assert deepstead.minutes(value) == printed  # type: ignore[arg-type]  # also what is no number


def test_an_age_counts_elapsed_time() -> None:
    then, now = datetime(2026, 11, 26, 6, 31, tzinfo=UTC), datetime(2026, 11, 26, 13, 20, 59, tzinfo=UTC)
    assert deepstead.age(then, now) == "6 h 49"
    assert deepstead.age(409) == "6 h 49"
    assert deepstead.age(then) == ""


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (Decimal("20300"), "20\u202f300"), (Decimal("3384.50"), "3\u202f384.50"), (Decimal("-0.41"), "\u22120.41"),
        (Decimal("1E+3"), "1\u202f000"), (7, "7"), (0.1, "0.1"), ("", ""), (None, ""), ("abc", "abc"), (float("nan"), "nan"),
    ],
)  # fmt: skip
def test_a_number_keeps_the_digits_that_were_typed(value: object, printed: str) -> None:
    assert deepstead.plain_number(value) == printed


def test_every_mark_that_is_asked_for_by_a_word_is_in_the_sprite() -> None:
    tree = ET.parse(STATIC / "marks.svg")  # noqa: S314  # our own file
    drawn = {symbol.get("id") for symbol in tree.iter("{http://www.w3.org/2000/svg}symbol")}
    assert set(deepstead.MARKS.values()) <= drawn
    assert {"due", "over", "tag", "waiver", "second", "open", "late", "corr", "unread", "gap"} <= drawn


def test_a_mark_is_silent_and_takes_the_hue_of_its_state() -> None:
    assert deepstead.mark("Not ready") == (
        '<svg class="mark is-stop" aria-hidden="true"><use href="/static/facility/marks.svg#stop"></use></svg>'
    )
    assert 'class="mark"' in deepstead.mark("tag")


def test_a_record_without_page_has_no_link() -> None:
    assert deepstead.record_url(Context({}), {"record": {"kind": "equipment", "pk": 1}}) == ""
    assert deepstead.record_url(Context({}), {"url": "/x/"}) == "/x/"


def test_what_a_job_did_is_named_as_done_by_the_box() -> None:
    assert who(events.system("sweep").name) == "this box (sweep)"
    assert who("Ina Test") == "Ina Test"
    assert who("") == ""
