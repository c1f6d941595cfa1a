"""One analysis against every limit set of its gas; the one that the house adopted decides, the others stand beside it.

What is judged is kept with the record as on that day, in the shape that the pages show.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.reference import load
from maintenance.compute.gas_identity import Bounds, Says, against_label
from maintenance.compute.gas_limits import Odour, Point, Sample, SampleVerdict, judge
from maintenance.reference import FOLDER, limit_sets

if TYPE_CHECKING:
    from collections.abc import Mapping

    from maintenance.compute.gas_limits import Limit
    from maintenance.compute.gas_limits_file import SourcedSet

#: parameters in the order of the forms, with label and unit of the limit sets
PARAMETERS: dict[str, tuple[Any, str]] = {
    "o2": (gettext_lazy("oxygen"), "%"),
    "co": (gettext_lazy("carbon monoxide"), "ppm"),
    "co2": (gettext_lazy("carbon dioxide"), "ppm"),
    "oil": (gettext_lazy("oil"), "mg/m3"),
    "water": (gettext_lazy("water"), "mg/m3"),
    "hydrocarbons": (gettext_lazy("hydrocarbons"), "ppm"),
    "methane": (gettext_lazy("methane"), "ppm"),
    "nitrous_oxide": (gettext_lazy("nitrous oxide"), "ppm"),
}
ODOUR = gettext_lazy("odour")
#: sampling point as stored -> words, and the point whose limits the sets give for it
POINTS: dict[str, tuple[Any, Point]] = {
    "compressor outlet": (gettext_lazy("compressor outlet"), Point.OUTLET),
    "bank": (gettext_lazy("bank or cylinder"), Point.CYLINDER),
    "BIBS line": (gettext_lazy("BIBS line"), Point.CYLINDER),
    "chamber supply": (gettext_lazy("air supply of the chamber"), Point.CYLINDER),
}
RULE_OF = {"AIR": "air_limit_set", "O2": "oxygen_limit_set"}


def sets_of(gas: str) -> list[SourcedSet]:
    """Return the limit sets of a gas, in the order of their file."""
    return [one for one in limit_sets() if one.gas == gas]


def adopted_set(gas: str, house: Mapping[str, Decimal]) -> SourcedSet | None:
    """Return the limit set that the house adopted for a gas, or None; one of the other gas is none."""
    number = house[RULE_OF[gas]]
    return next((one for one in sets_of(gas) if one.number == number), None)


def bounds() -> Bounds:
    """Return the oxygen contents by which a gas is known."""
    table = load(FOLDER / "gas_identity.toml")
    return Bounds(table["air.low"].number, table["air.high"].number, table["oxygen.low"].number)


def judge_gas(gas: str, sample: Sample, adopted: SourcedSet | None) -> dict[str, Any]:
    """Return what every set says of an analysis, as kept with it.

    ``passed``: True or False by the adopted set, None where none is adopted or a parameter is missing.
    ``wrong_gas``: "other gas", "neither" or "": what the oxygen content says against the label.
    """
    sets = [_judged(one, sample) for one in sets_of(gas)]
    oxygen = sample.values.get("o2")
    says = Says.AGREES if oxygen is None else against_label(gas, oxygen, bounds())
    own = next((one for one in sets if adopted is not None and one["key"] == adopted.limits.key), None)
    verdict = None if own is None else own["verdict"]
    passed = {SampleVerdict.PASSED.value: True, SampleVerdict.FAILED.value: False}.get(verdict or "")
    return {
        "gas": gas,
        "adopted": own["key"] if own else "",
        "adopted_title": own["title"] if own else "",
        "passed": False if says is not Says.AGREES else passed,
        "wrong_gas": "" if says is Says.AGREES else says.value,
        "differ": len({one["measured"] for one in sets}) > 1,
        "sets": sets,
    }


def _judged(one: SourcedSet, sample: Sample) -> dict[str, Any]:
    found = judge(sample, one.limits)
    here = [limit for limit in one.limits.limits if limit.counts(sample.point, sample.pressure_bar)]
    rows = [_row(limit, one, sample) for limit in here]
    if one.limits.odour is not None:
        rows.append(_odour_row(one.limits.odour, sample.odour))
    return {
        "key": found.key, "title": found.title, "verdict": found.verdict.value, "measured": found.measured.value,
        "missing": list(found.missing), "elsewhere": list(found.not_limited_here), "rows": rows,
    }  # fmt: skip


def _row(limit: Limit, one: SourcedSet, sample: Sample) -> dict[str, Any]:
    value = sample.values.get(limit.parameter)
    outside = value is not None and (
        (limit.low is not None and value < limit.low) or (limit.high is not None and value > limit.high)
    )
    return {
        "parameter": limit.parameter, "unit": one.units.get(limit.parameter, ""),
        "value": "" if value is None else f"{value:f}",
        "low": "" if limit.low is None else f"{limit.low:f}", "high": "" if limit.high is None else f"{limit.high:f}",
        "outcome": "missing" if value is None else "outside" if outside else "within",
        "unconfirmed": limit.parameter in one.from_memory,
    }  # fmt: skip


def _odour_row(strongest: Odour, found: Odour | None) -> dict[str, Any]:
    order = list(Odour)
    outside = found is not None and order.index(found) > order.index(strongest)
    return {
        "parameter": "odour", "unit": "", "value": found.value if found else "", "low": "", "high": strongest.value,
        "outcome": "missing" if found is None else "outside" if outside else "within", "unconfirmed": False,
    }  # fmt: skip


def named(parameter: str) -> str:
    """Return a parameter in words."""
    return str(ODOUR) if parameter == "odour" else str(PARAMETERS[parameter][0])


def shown_sets(judged: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return what was judged as the pages print it: the adopted set first, verdicts and parameters in words."""
    found = [
        one | {
            "adopted": one["key"] == judged.get("adopted"), "word": verdict_word(one["verdict"]),
            "mark": {"pass": "indate", "fail": "stop"}.get(one["verdict"], "unknown"),
            "lines": [row | {"name": named(row["parameter"]), "limit": _limit_text(row)} for row in one["rows"]],
            "missing_names": [named(name) for name in one["missing"]],
            "elsewhere_names": [named(name) for name in one["elsewhere"]],
        }
        for one in judged.get("sets", [])
    ]  # fmt: skip
    return sorted(found, key=lambda one: not one["adopted"])


def verdict_word(verdict: str) -> str:
    """Return a verdict in words."""
    words = {
        SampleVerdict.PASSED.value: _("within its limits"),
        SampleVerdict.FAILED.value: _("outside its limits"),
        SampleVerdict.INCOMPLETE.value: _("not a pass: not everything it limits was measured"),
    }
    return words.get(verdict, verdict)


def _limit_text(row: Mapping[str, Any]) -> str:
    if row["parameter"] == "odour":
        return str(_("at most %s") % row["high"])
    if row["low"] and row["high"]:
        return str(_("%(low)s to %(high)s %(unit)s") % row)
    return str((_("at least %(low)s %(unit)s") if row["low"] else _("at most %(high)s %(unit)s")) % row)


def wrong_gas_words(judged: Mapping[str, Any], oxygen_percent: object) -> str:
    """Return the loud sentence where the analysis contradicts the label, or nothing."""
    if not judged.get("wrong_gas"):
        return ""
    said = {"percent": oxygen_percent, "gas": judged["gas"]}
    other = {"O2": "AIR", "AIR": "O2"}[judged["gas"]]
    if judged["wrong_gas"] == Says.OTHER_GAS.value:
        return _("Could the gas be wrong? The label says %(gas)s, the analysis found %(percent)s %% oxygen: that is "
                 "%(other)s. Keep it shut and apart; do not connect it.") % (said | {"other": other})  # fmt: skip
    return _("Could the gas be wrong? The label says %(gas)s, the analysis found %(percent)s %% oxygen: that is neither "
             "air nor oxygen. Keep it shut and apart; do not connect it.") % said  # fmt: skip


def sample_of(values: Mapping[str, Decimal], odour: str, point: str, pressure_bar: Decimal) -> Sample:
    """Return an analysis as plain values. ``point``: a key of POINTS."""
    return Sample(dict(values), Odour(odour) if odour else None, POINTS[point][1], pressure_bar)
