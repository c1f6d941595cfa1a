"""The gas sums of the Why page: what a run needs, what is counted in each bank, what is left over or missing."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.compute.members import content_at
from facility.gathered import minute_down
from facility.readiness import words
from facility.readiness.defects_now import out_of_service
from facility.readiness.why import Line, Sum
from maintenance.readiness import reckoned_c

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.compute import facts as f
    from facility.gathered import Row
    from facility.readiness.services import Answer


def gas_sums(answer: Answer, plan: str) -> tuple[Sum, ...]:
    """Return a sum for each bank that a plan may breathe from, gas by gas. Litres at 15 degC and 1 atm."""
    found = []
    for gas, demand in answer.facts.plans[plan].gas.items():
        banks = banks_of(answer, plan, gas)
        found += [_sum(answer, plan, name, demand) for name in banks] or [_without_bank(gas, demand)]
    return tuple(found)


def banks_of(answer: Answer, plan: str, gas: str) -> list[str]:
    """Return the banks of that gas which the needs of a plan name, each once, in order."""
    needs = (answer.facts.needs[key] for key in answer.facts.plans[plan].needs)
    named = (name for need in needs if need.gas == gas for name in need.members)
    return [name for name in dict.fromkeys(named) if name in answer.names.banks]


def _without_bank(gas: str, demand: f.GasDemand) -> Sum:
    return Sum(_("%(gas)s, litres at 15\u00a0°C and 1\u00a0atm") % {"gas": gas}, (
        *_needed(demand), Line(_("No need of this plan names a bank of it"), ""),
    ))  # fmt: skip


def _needed(demand: f.GasDemand) -> Iterator[Line]:
    yield Line(_("Demand of the run"), words.litres(demand.demand))
    yield Line(_("Reserve kept back"), f"+ {words.litres(demand.reserve)}")
    yield Line(_("Needed"), words.litres(_all(demand)), "tot")


def _all(demand: f.GasDemand) -> Fraction:
    return Fraction(demand.demand) + Fraction(demand.reserve)


def _sum(answer: Answer, plan: str, name: str, demand: f.GasDemand) -> Sum:
    bank = answer.facts.members[name]
    row = answer.names.banks[name]
    title = _("%(gas)s in %(bank)s, litres at 15\u00a0°C and 1\u00a0atm") % {"gas": row.gas, "bank": row.name}
    lines = [*_needed(demand), *_counted(answer, name)]
    tags = out_of_service(answer, name, plan)
    content, unread = content_at(bank, answer.at, answer.facts.age_limit_min.bank or 0)  # type: ignore[arg-type]  # a bank
    said = {"minimum": _number(row.minimum), "unit": row.gauge_unit}
    lines.append(Line(_("Counted, down to %(minimum)s\u00a0%(unit)s") % said, words.litres(content), "tot"))
    if tags:
        lines.append(Line(_("Out of service, tag %s: counts for nothing") % ", ".join(tags), words.litres(0)))
    lines.append(_outcome(Fraction(0 if tags else content) - _all(demand), unread=unread and not tags))
    return Sum(title, tuple(lines))


def _outcome(left: Fraction, *, unread: bool) -> Line:
    """Say what is left over; or what is missing, as far as it is read. Cut so that it never looks better."""
    if left >= 0:
        return Line(_("Left over"), words.litres(left), "end")
    short = words.litres(-(left.numerator // left.denominator))
    return Line(_("Not known: missing as far as read") if unread else _("Missing in this bank"), short, "end")


def _counted(answer: Answer, name: str) -> Iterator[Line]:
    """Give a line for cylinders of one size and reading."""
    alike: dict[str, list[int]] = {}
    rows = {str(one[0]): one for one in answer.names.banks[name].cylinders}
    for cylinder in answer.facts.members[name].cylinders:  # type: ignore[union-attr]  # a bank
        litres, text = _cylinder(answer, cylinder, rows[cylinder.id])
        alike.setdefault(text, []).append(litres)
    first = True
    for text, contents in alike.items():
        number = len(contents)
        said = ngettext("%(number)d cylinder of %(text)s", "%(number)d cylinders of %(text)s", number)
        figure = words.litres(sum(contents))
        yield Line(said % {"number": number, "text": text}, figure if first else f"+ {figure}")
        first = False


def _cylinder(answer: Answer, cylinder: f.Cylinder, row: Row) -> tuple[int, str]:
    """Return what counts of a cylinder, and its size, reading, age, temperature, or why it does not count."""
    _mark, water, _analysis, reading, measured = row
    size = _("%s\u00a0L") % _number(water)
    age_limit = answer.facts.age_limit_min.bank or 0
    if cylinder.analysis is None:
        return 0, _("%s, not analysed: not counted") % size
    if cylinder.analysis != "passed":
        return 0, _("%s, analysis failed: not counted") % size
    if reading is None:
        return 0, _("%s, never read: not counted") % size
    pressure, unit, celsius, read_at = reading
    age = answer.at - minute_down(read_at)
    said = {
        "size": size, "pressure": _number(pressure), "unit": unit, "temperature": _number(reckoned_c(celsius, measured)),
        "age": words.span(age), "limit": words.span(age_limit),
    }  # fmt: skip
    if cylinder.read_at is None:
        return 0, _(
            "%(size)s at %(pressure)s\u00a0%(unit)s, read before the last run breathed from it: not counted"
        ) % said
    if age >= age_limit:
        return 0, _(
            "%(size)s at %(pressure)s\u00a0%(unit)s, read %(age)s ago, older than %(limit)s: not counted"
        ) % said
    if cylinder.usable is None:
        return 0, _("%(size)s at %(pressure)s\u00a0%(unit)s, beyond what the gas law covers: not counted") % said
    if celsius is None:
        return int(cylinder.usable), _(
            "%(size)s at %(pressure)s\u00a0%(unit)s, temperature not measured: taken as %(temperature)s\u00a0°C, read %(age)s ago"
        ) % said
    text = _("%(size)s at %(pressure)s\u00a0%(unit)s and %(temperature)s\u00a0°C, read %(age)s ago") % said
    return int(cylinder.usable), text


def _number(value: object) -> str:
    """Write a stored decimal without needless noughts."""
    text = str(value)
    return text.rstrip("0").rstrip(".") if "." in text else text
