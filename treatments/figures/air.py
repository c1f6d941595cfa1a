"""The air of a chamber during a run: carbon dioxide, ventilation asked for and logged, temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.compute.atmosphere import fahrenheit, stay
from treatments.compute.inside_air import flowed, flows, people_at, stopped_minutes, stretches_asked
from treatments.compute.phases import stops
from treatments.compute.ventilation import after_stop, air_used, asked, scfm
from treatments.figures.shape import Air, Co2Seen, Temperature, Ventilation
from treatments.reference import figures
from treatments.reference.laws import atmosphere, bands, interruption, rates

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from treatments.compute.inside_air import Somebody
    from treatments.figures.rows import Rows
    from treatments.figures.timing import Timing

WAYS = tuple((at_rest, dump) for dump in (False, True) for at_rest in (False, True))
JUST_BEFORE_MIN = 1e-6


def everybody(found: Timing) -> list[Somebody]:
    """Return who was under pressure, when and on what."""
    return [(one.who, one.when, one.breathed) for one in found.followers if one.when.spans]


def number(values: Mapping[str, str], key: str) -> float | None:
    """Return a logged value as a number; None if it is not there or is none."""
    try:
        return float(values[key])
    except (KeyError, TypeError, ValueError):
        return None


def carbon_dioxide_seen(found: Timing) -> tuple[Co2Seen, ...]:
    """Return each logged reading of carbon dioxide, which is typed as surface equivalent."""
    values = figures("atmosphere")
    limit, mmhg = float(values["co2.limit"].number), float(values["atmosphere.mmhg"].number)
    rows, seen = found.rows, []
    for one in rows.entries:
        percent = number(one.values, "co2_percent")
        if percent is not None:
            depth = one.depth_fsw if found.track is None or one.minute < 0 else found.track.depth_at(one.minute)
            within = percent <= limit
            seen.append(Co2Seen(rows.instant(one.minute), depth, percent, percent / 100 * mmhg, within, limit))
    return tuple(seen)


def ventilation(found: Timing) -> Ventilation | None:
    """Return the ventilation asked for at the last minute, logged flow, its stops, and the air of the run."""
    if found.track is None:
        return None
    rows, depth, inside = found.rows, found.track, everybody(found)
    minute = rows.until - JUST_BEFORE_MIN
    fsw = depth.depth_at(rows.until)
    rule, logged = interruption(), [one for one in flows(rows.entries) if 0 <= one[0] <= rows.until]
    stopped = stopped_minutes(logged, max(0.0, rows.until - rule.span_min), rows.until)
    ways = tuple(_way(inside, minute, fsw, at_rest=at_rest, dump=dump) for at_rest, dump in WAYS)
    after = after_stop(ways[0].acfm, stopped, rule)
    return Ventilation(
        depth_fsw=fsw, people=people_at(minute, inside, at_rest=False), asked=ways,
        logged_acfm=logged[-1][1] if logged else None, logged_at=rows.instant(logged[-1][0]) if logged else None,
        stopped_now=bool(logged) and logged[-1][1] <= 0, stopped_min=stopped, within_rule=after.allowed,
        catch_up_acfm=after.acfm if stopped else None, catch_up_min=after.minutes if stopped else None,
        asked_scf={way: _air(found, inside, *way) for way in WAYS},
    )  # fmt: skip


def _way(inside: list[Somebody], minute: float, fsw: float, *, at_rest: bool, dump: bool) -> Air:
    one = asked(people_at(minute, inside, at_rest=at_rest), rates(), dump=dump)
    return Air(at_rest, dump, one.acfm, scfm(one.acfm, fsw, atmosphere().fsw), one.air_rates_acfm)


def _air(found: Timing, inside: list[Somebody], at_rest: bool, dump: bool) -> float:  # noqa: FBT001
    """Return the air asked for from the first stop on; the descent is not counted, the lock being filled then."""
    assert found.track is not None  # noqa: S101 - asked only with a depth
    first = next((one.start_min for one in stops(found.done)), None)
    if first is None:
        return 0.0
    stretches = stretches_asked(found.track, first, inside, rates(), at_rest=at_rest, dump=dump)
    return air_used(stretches, atmosphere().fsw)


def ventilation_expected(found: Timing) -> tuple[float, bool]:
    """Return the ventilation air of the run so far in scf, and whether it is the logged flow rather than the asked."""
    if found.track is None:
        return 0.0, False
    logged = flows(found.rows.entries)
    if logged:
        return air_used(flowed(found.track, logged), atmosphere().fsw), True
    return _air(found, everybody(found), at_rest=False, dump=False), False


def temperature(found: Timing) -> Temperature | None:
    """Return the newest inside temperature against the length of the run with its extensions."""
    rows = found.rows
    read = list(_temperatures(rows))
    if not read or found.plan is None:
        return None
    minutes = found.plan.run_minutes if found.last is None else max(found.plan.run_minutes, found.last.ends[-1])
    minute, celsius = read[-1]
    one = stay(rows.run.table_key, minutes, fahrenheit(celsius), bands())
    highest = max(degrees for _minute, degrees in read)
    return Temperature(
        rows.instant(minute), celsius, highest, one.band, one.longest_min, minutes, one.listed, one.within
    )


def _temperatures(rows: Rows) -> Iterator[tuple[float, float]]:
    for one in rows.entries:
        degrees = number(one.values, "temperature_c")
        if degrees is not None:
            yield one.minute, degrees
