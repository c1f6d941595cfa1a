"""Whatever stands in a log, its figures are computed: late lines, lines twice, jumps, people nobody knows."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import inf
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.compute.company import Occupant
from treatments.compute.logbook import LoggedEntry
from treatments.figures.picture import svg
from treatments.figures.plain import as_plain, as_short
from treatments.figures.rows import Rows
from treatments.figures.state import figures_from
from treatments.figures.sums import sums_of
from treatments.figures.table import depth_rows
from treatments.models import LogKind, Run, RunPlace
from treatments.reference import FILES, table

LEFT = datetime(2026, 3, 28, 9, 0, tzinfo=UTC)
VALUES = st.sampled_from(
    [
        {}, {"o2_percent": "21.1"}, {"co2_percent": "0.5"}, {"temperature_c": "31"}, {"ventilation_acfm": "0"},
        {"ventilation_acfm": "13"}, {"extension_depth_fsw": "60", "extension_count": "1"}, {"temperature_c": "hot"},
        {"extension_depth_fsw": "45"}, {"bank_pressure": "120", "bank_unit": "bar"},
    ]
)  # fmt: skip
ENTRIES = st.lists(
    st.builds(
        LoggedEntry,
        st.floats(-30, 400),
        st.sampled_from([str(one) for one in LogKind.values]),
        st.sampled_from([None, 1, 2, 3, 99]),
        st.one_of(st.none(), st.sampled_from([0.0, 10, 29.5, 30, 45, 59.4, 60, 60.8, 100, 165, 400])),
        VALUES,
    ),
    max_size=30,
).map(lambda found: tuple(sorted(found, key=lambda one: one.minute)))
PEOPLE = (("patient", True), ("tender", True), ("tender", False))


def rows(key: str, entries: tuple[LoggedEntry, ...], now: float, ended: float | None, *, left: bool = True) -> Rows:
    run = Run(pk=1, table_key=key, table_standing="unconfirmed", started_at=LEFT if left else None,
              ended_at=None if ended is None or not left else LEFT + timedelta(minutes=ended))  # fmt: skip
    places = tuple(
        (
            RunPlace(pk=n, role=role, label=f"{role} {n}", inside=inside),
            Occupant(n, f"{role} {n}", role, inside, role == "patient", role != "patient", 14.0 if n == 2 else None),
        )
        for n, (role, inside) in enumerate(PEOPLE, 1)
    )
    found = table(key) if key else None
    return Rows(run, LEFT + timedelta(minutes=now), ZoneInfo("Europe/Oslo"), found, places, entries, {}, (), (), 8.0)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(["", *FILES]), ENTRIES, st.floats(0, 400), st.one_of(st.none(), st.floats(0, 400)))
def test_any_log_has_figures_that_make_sense(
    key: str, entries: tuple[LoggedEntry, ...], now: float, ended: float | None
) -> None:
    found = figures_from(rows(key, entries, max(now, ended or 0), ended))
    assert all(one.minutes >= 0 for one in found.moved)
    assert all(a.minute <= b.minute + 1e-6 for a, b in pairwise(found.next_events))
    for one in found.people:
        assert 0 <= one.oxygen_min <= one.minutes + 1e-6
        assert one.minutes <= found.elapsed_min + 1e-6
        assert sum(part.minutes for part in one.segments) == pytest.approx(one.minutes, abs=1e-3)
        assert one.dose.uptd >= one.dose.uptd_on_oxygen - 1e-9 >= -1e-9
        assert (one.dose.cns_fraction or 0) >= 0
        assert all((part.left_min or 0) >= 0 for part in one.owed)
    for _who, departure in () if found.conformity is None else found.conformity.found:
        assert 0 <= departure.logged < inf
        assert 0 < departure.size < inf
    assert json.loads(json.dumps(as_plain(found), allow_nan=False))["run_pk"] == 1
    assert json.dumps(as_short(found), allow_nan=False)
    assert svg(found).endswith("</svg>")
    assert len(sums_of(found)) == 11
    assert len(depth_rows(found)) == (0 if found.track is None else len(found.track.points))


@settings(max_examples=100, deadline=None)
@given(st.sampled_from([*FILES]), ENTRIES, st.data())
def test_lines_of_one_minute_may_stand_in_any_order(
    key: str, entries: tuple[LoggedEntry, ...], data: st.DataObject
) -> None:
    """Typed by the minute, as most are: whichever line came first, nobody breathes longer than the run lasts."""
    minutes = [replace(one, minute=float(round(one.minute))) for one in data.draw(st.permutations(entries))]
    found = figures_from(rows(key, tuple(sorted(minutes, key=lambda one: one.minute)), 400, None))
    for one in found.people:
        assert sum(part.minutes for part in one.breathed) == pytest.approx(one.minutes, abs=1e-3)
        assert all(part.minutes > 0 for part in one.segments)
    assert all(one.minutes >= 0 for one in found.moved)
    assert all(one.minutes >= 0 for one in found.stops)


@given(st.sampled_from([*FILES]), ENTRIES)
def test_before_it_left_the_surface_nothing_was_exposed_and_nothing_is_due(
    key: str, entries: tuple[LoggedEntry, ...]
) -> None:
    found = figures_from(rows(key, entries, 0, None, left=False))
    assert (found.people, found.next_events, found.track, found.conformity) == ((), (), None, None)
    assert found.plan is not None
