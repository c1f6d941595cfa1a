"""Worksheets: oxygen owed to a tender, and waits after a run, in two revisions side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, optional, text, whole
from treatments.compute.dose import exposures, pulmonary_dose
from treatments.compute.tender import breathed, counts_as_previous, owed, rule_for
from treatments.compute.waits import WaitError, instant, waits, zone
from treatments.reference import figures, fractions, table
from treatments.reference.laws import NAVY, conventions, look_backs, pulmonary, tender_rules, wait_rules
from treatments.worksheets.common import DOSES, HANDBOOK, RUNS, TABLE, not_stated, rests_on, said

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from treatments.compute.waits import Wait

REVISIONS = {"rev4a": "rev4a", "rev6-7": "rev6_7"}


def _tender(given: Given) -> dict[str, object]:
    altitude = given.maybe("altitude")
    high = altitude is not None and altitude > figures("tender")["altitude.highest"].number
    answers: dict[str, object] = {}
    for revision, look_back in look_backs().items():
        name = REVISIONS[revision]
        for key, value in _by(given, look_back, high=high).items():
            answers[f"{name}_{key}"] = value
    return answers


def _by(given: Given, look_back: float, *, high: bool) -> dict[str, object]:
    gap = given.maybe("hours_since_previous")
    previous = counts_as_previous(None if gap is None else float(gap), look_back)
    key = given.text("table")
    rule = None if high else rule_for(key, tender_rules())
    most = sum(one.allowed for one in table(key).extensions)
    oxygen = owed(rule, given.whole("extensions"), most_extensions=most, previous=previous)
    stated = rule is not None and oxygen.total_min is not None
    dose = None
    if rule is not None and stated:
        history = exposures(breathed(oxygen, rule), fractions(), conventions()[NAVY])
        dose = pulmonary_dose(history, pulmonary())
    return {
        "previous_counts": said(answer=previous),
        "at_depth": oxygen.at_depth_min,
        "depth": oxygen.depth_fsw,
        "total": oxygen.total_min,
        "uptd": dose,
        "answer": _words(oxygen.at_depth_min, oxygen.depth_fsw, oxygen.total_min),
    }


def _words(at_depth: float | None, depth: float | None, total: float | None) -> str:
    if at_depth is None or depth is None:
        return not_stated()
    if total == 0:
        return gettext("none: chamber air throughout")
    if total is None:
        words = gettext("%(at)g min before leaving %(depth)g fsw; on the way to the surface %(said)s")
        return words % {"at": at_depth, "depth": depth, "said": not_stated()}
    return gettext("%(at)g min at %(depth)g fsw and on to the surface, %(total)g min in all") % {
        "at": at_depth,
        "depth": depth,
        "total": total,
    }


def _waits(given: Given) -> dict[str, object]:
    try:
        surfaced = instant(given.text("surfaced_at"))
    except WaitError:
        allowed = "YYYY-MM-DDTHH:MM with Z or an offset such as +01:00"
        raise InputError("surfaced_at", given.text("surfaced_at"), allowed) from None
    try:
        place = zone(given.text("zone"))
    except WaitError:
        raise InputError("zone", given.text("zone"), "a name such as Europe/Oslo or UTC") from None
    found = waits(given.text("table"), surfaced, place, wait_rules())
    return {
        "surfaced_local": surfaced.astimezone(place).isoformat(timespec="minutes"),
        "waits": [_row(one) for one in found],
    }


def _row(one: Wait) -> dict[str, object]:
    local = one.until_local
    return {
        "person": one.person,
        "purpose": one.purpose.replace("_", " "),
        "revision": one.revision,
        "hours": one.hours,
        "until": one.until.isoformat(timespec="minutes") if one.until else None,
        "until_local": local.isoformat(timespec="minutes") if local else None,
        "answer": one.about or not_stated(),
    }


def _outputs(name: str, words: str) -> tuple[Output, ...]:
    return (
        Output(f"{name}_previous_counts", "", _("whether the previous exposure is inside the look-back")),
        Output(f"{name}_at_depth", "min", words),
        Output(f"{name}_depth", "fsw", _("depth where the tender breathes oxygen")),
        Output(f"{name}_total", "min", _("with the ascent; null where not stated")),
        Output(f"{name}_uptd", "UPTD", _("of that oxygen, 33 fsw = 1 ata")),
        Output(f"{name}_answer", "", _("in words")),
    )


TENDER_OXYGEN = Worksheet(
    name="tender_oxygen",
    title=_("Oxygen owed to an inside tender"),
    inputs=(
        TABLE,
        whole("extensions", "1", 1, ("0", "20"), _("extensions taken, at all depths together")),
        optional(
            number("hours_since_previous", "h", 14, ("0", "1000"), _("from surfacing then to leaving surface now"))
        ),
        optional(number("altitude", "ft", 0, ("0", "20000"), _("of the chamber"))),
    ),
    outputs=(
        *_outputs("rev4a", _("oxygen by revision 4A, look-back 12 h")),
        *_outputs("rev6_7", _("oxygen by revisions 6 and 7 (from memory), look-back 18 h")),
    ),
    source=f"{HANDBOOK}, p. 21-26; revisions 6 and 7 from memory",
    formula=_(
        "minutes at depth by table and extensions, more after a previous exposure inside the look-back; exactly"
        " the look-back no longer counts; then oxygen to the surface"
    ),
    caution=f"{RUNS} {DOSES}",
    compute=_tender,
    rests_on=rests_on("tender"),
)
WAITS = Worksheet(
    name="waits",
    title=_("Waits after a run"),
    inputs=(
        TABLE,
        text("surfaced_at", "2026-03-28T19:00Z", _("reached the surface: date and time with Z or an offset")),
        text("zone", "Europe/Oslo", _("zone of the site, by its name in the time zone database")),
    ),
    outputs=(
        Output("surfaced_local", "", _("reached the surface, in the zone")),
        Output("waits", "", _("each wait by revision: elapsed hours, the instant in UTC and in the zone")),
    ),
    source=f"{HANDBOOK}, p. 21-26 to 21-29; revisions 6 and 7 from memory",
    formula=_("instant = reached the surface + elapsed hours; shown in the zone, whatever the clocks do in between"),
    caution=RUNS,
    compute=_waits,
    rests_on=rests_on("waits"),
)
