"""Where a delivered cylinder stands, in words and mark, and why it does not count."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.fields import day_text
from maintenance.gas_room.limits import named, wrong_gas_words
from maintenance.models import QuarantineState

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from facility.models import Site
    from maintenance.models import DeliveredCylinder


@dataclass(frozen=True, slots=True)
class Standing:
    """A mark and the words beside it."""

    mark: str
    words: str


def standing_of(row: DeliveredCylinder) -> Standing:
    """Return where a delivered cylinder stands."""
    if row.state == QuarantineState.ACCEPTED:
        return Standing("indate", _("Accepted"))
    if row.state == QuarantineState.REFUSED:
        return Standing("stop", _("Refused"))
    if row.state == QuarantineState.QUARANTINE:
        return Standing("unknown", _("In quarantine: not analysed, counts for nothing"))
    if row.passed:
        return Standing("open", _("Analysed and passed: waits for acceptance, counts for nothing until then"))
    if row.passed is None:
        return Standing("unknown", _("Analysed, but it does not pass: counts for nothing"))
    return Standing("stop", _("Failed the analysis: counts for nothing"))


def why_not(row: DeliveredCylinder) -> list[str]:
    """Return every reason why an analysis does not pass; none if it does or there is none."""
    if row.analysed_at is None or row.passed:
        return []
    return [*gas_reasons(row.judged, row.values.get("o2")), *row.judged.get("analyser_faults", [])]


def gas_reasons(judged: Mapping[str, Any], oxygen_percent: object) -> list[str]:
    """Return why what was judged is no pass: a wrong gas, no adopted set, values outside, values missing."""
    found = [words] if (words := wrong_gas_words(judged, oxygen_percent)) else []
    if not judged.get("adopted"):
        gas = judged.get("gas", "")
        found.append(_("The house adopted no limit set for %s: a director sets it under House rules.") % gas)
        return found
    own = next(one for one in judged["sets"] if one["key"] == judged["adopted"])
    outside = [row for row in own["rows"] if row["outcome"] == "outside"]
    found += [
        _("%(name)s %(value)s %(unit)s is outside %(title)s.")
        % {"name": named(row["parameter"]).capitalize(), "value": row["value"], "unit": row["unit"],
           "title": own["title"]}
        for row in outside
    ]  # fmt: skip
    missing = [*own["missing"], *own["elsewhere"]]
    if missing and not outside:
        names = ", ".join(named(name) for name in missing)
        found.append(_("%(title)s also limits %(names)s: not measured, or not limited at this pressure.") % {
            "title": own["title"], "names": names})  # fmt: skip
    return found


def requalification_words(due_on: date | None, today: date) -> Standing:
    """Return where the pressure test of a cylinder stands."""
    if due_on is None:
        return Standing("unknown", _("Pressure test: no due day recorded"))
    if due_on < today:
        return Standing("stop", _("Pressure test overdue since %s") % day_text(due_on))
    return Standing("indate", _("Pressure test good through %s") % day_text(due_on))


def refusal_words(row: DeliveredCylinder, site: Site) -> str:
    """Return what the supplier may be told, to be copied: plain facts, nothing of patients or readiness."""
    delivery = row.delivery
    found = [
        _("To %s") % delivery.supplier,
        _("%(site)s refuses cylinder %(mark)s, labelled %(gas)s, of delivery note %(note)s.") % {
            "site": site.name, "mark": row.mark, "gas": delivery.gas, "note": delivery.note_number or "\u2013"},
        _("Reason: %s") % row.refused_because,
    ]  # fmt: skip
    if row.analysed_at is not None:
        found.append(_("Analysis: oxygen %(percent)s %%, by %(who)s, analyser %(analyser)s.") % {
            "percent": row.oxygen_percent, "who": row.analysed_by,
            "analyser": row.analyser.tag if row.analyser else "\u2013"})  # fmt: skip
    found.append(_("It stands apart and unused. Please fetch it, and tell us what was found."))
    found.append(_("%(who)s, %(site)s") % {"who": row.decided_by, "site": site.name})
    return "\n".join(found)


def note_on_sets(judged: Mapping[str, Any]) -> str:
    """Say that standards differ on this analysis, or nothing."""
    return _("The standards differ on it; both stand, the adopted one decides.") if judged.get("differ") else ""
