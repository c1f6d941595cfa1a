"""The one sentence about each record: in date, due, overdue, never recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from facility import house
from facility.fields import day_text
from facility.models import MedicalOutcome
from facility.records import followed
from facility.records.due import rules_of, states_of
from facility.records.recent import Practices
from maintenance.models import (
    AnalysisResult,
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    DefectEffect,
    GasBank,
    WorkResult,
)
from maintenance.upkeep.state import Word

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime
    from decimal import Decimal

    from facility.models import Kept, Site
    from maintenance.upkeep.state import DueState

#: mark, words and rank of what is not known
WAITING = {
    Word.NEVER: ("unknown", gettext_lazy("Never recorded"), 3),
    Word.SECOND_LOOK: ("second", gettext_lazy("Waiting for second look"), 3),
    Word.IN_DOUBT: ("unknown", gettext_lazy("In doubt"), 3),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class State:
    """A mark with its words. ``rank`` orders states: the highest is the worst."""

    mark: str
    words: str
    rank: int = 0

    @property
    def quiet(self) -> bool:
        """Whether nothing is wrong or next."""
        return self.rank == 0


@dataclass(frozen=True, slots=True)
class Moment:
    """The instant of a page, in the site's zone and under its house rules."""

    now: datetime
    zone: ZoneInfo
    rules: dict[str, Decimal]
    site: int

    @property
    def today(self) -> date:
        """The civil day at the site."""
        return self.now.astimezone(self.zone).date()

    @property
    def soon(self) -> int:
        """Days within which something counts as due soon."""
        return int(self.rules["due_soon_days"])


def moment_of(site: Site, now: datetime) -> Moment:
    """Return the moment of a page of ``site``."""
    return Moment(now, ZoneInfo(site.zone), house.values(site), site.pk)


def age_text(minutes: int) -> str:
    """Return a length of time as the pages write it: 45 min, 8 h 05, 3 d."""
    if minutes < 60:  # noqa: PLR2004  # an hour
        return _("%(n)d min") % {"n": minutes}
    hours, rest = divmod(minutes, 60)
    return _("%(h)d h %(m)02d") % {"h": hours, "m": rest} if hours < 48 else _("%(d)d d") % {"d": hours // 24}  # noqa: PLR2004  # two days


def by_day(last_good: date | None, moment: Moment) -> State:
    """Return the state of something that is good through ``last_good``."""
    if last_good is None:
        return State("unknown", _("Never recorded"), 3)
    days = (last_good - moment.today).days
    if days < 0:
        return State("over", ngettext("Overdue %(n)d day", "Overdue %(n)d days", -days) % {"n": -days}, 4)
    if days == 0:
        return State("due", _("Due today"), 2)
    if days <= moment.soon:
        return State("due", ngettext("Due in %(n)d day", "Due in %(n)d days", days) % {"n": days}, 1)
    return State("indate", _("In date until %(day)s") % {"day": day_text(last_good)})


def _bad_result(result: str | None, on: date) -> State | None:
    """Return what a newest result that is no pass means; nothing for a pass or where there is none."""
    if result == WorkResult.FAILED:
        return State("over", _("Failed %(day)s") % {"day": day_text(on)}, 5)
    if result == WorkResult.UNREAD:
        return State("unread", _("Could not read %(day)s") % {"day": day_text(on)}, 3)
    return None


def of_rule(rule: DueState, moment: Moment) -> State:
    """Return the state of one rule."""
    bad = _bad_result(rule.newest[1], rule.newest[0]) if rule.newest else None
    if bad is not None:
        return bad
    if rule.word in WAITING:
        mark, words, rank = WAITING[rule.word]
        return State(mark, str(words), rank)
    if rule.word == Word.NOT_ASKED:
        return State("", _("Nothing asks for it now"))
    if rule.projected:
        return _projected(rule, moment)
    last, end = rule.due_on, rule.good_through
    if last is not None and end is not None and last < moment.today <= end:
        return State("due", _("Past its due day, in its late window until %(day)s") % {"day": day_text(end)}, 2)
    return by_day(end if rule.first and rule.first.reached else last, moment)


def _projected(rule: DueState, moment: Moment) -> State:
    """Return the state of a rule whose first day is only what the present use leads to."""
    day = rule.due_on or moment.today
    if day < moment.today:
        return State("due", _("Its counter should be near its limit: read it"), 2)
    state = by_day(day, moment)
    return State(state.mark, _("At the present use about %(day)s") % {"day": day_text(day)}, state.rank)


def of_rules(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return the state of each interval rule."""
    return {pk: of_rule(state, moment) for pk, state in states_of([row.pk for row in rows], moment).items()}


def of_equipment(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return the worst state of each item: open defects, its rules, the end of its life."""
    ids = [row.pk for row in rows]
    rules = rules_of(ids, moment)
    defects: dict[int, list[Defect]] = {}
    for defect in Defect.objects.filter(equipment__in=ids, returned_at=None, retired_at=None):
        defects.setdefault(defect.equipment_id or 0, []).append(defect)
    return {row.pk: worst_of_item(row, rules.get(row.pk, []), defects.get(row.pk, []), moment) for row in rows}


def worst_of_item(item: Any, rules: list[Any], defects: list[Defect], moment: Moment) -> State:
    """Return the worst of what is known about an item that was fetched with its loose work."""
    states = [of_rule(rule, moment) for rule in rules if rule.counts_for_readiness] + [
        of_defect(one) for one in defects
    ]
    bad = _bad_result(item.loose_result, item.loose_on)
    if bad is not None:
        states.append(bad)
    if item.life_ends_on is not None:
        end = by_day(item.life_ends_on, moment)
        states.append(State(end.mark, _("Service life: %(state)s") % {"state": end.words}, end.rank))
    if not states:
        return State("", _("Nothing falls due on it"))
    return max(states, key=lambda state: state.rank)


def of_defect(defect: Defect) -> State:
    """Return the state of a defect."""
    if defect.returned_at is not None:
        return State("indate", _("Returned to service"))
    number = f"{defect.number:04d}"
    if defect.effect == DefectEffect.STOPS:
        return State("tag", _("Out of service, tag %(number)s") % {"number": number}, 6)
    if defect.effect == DefectEffect.LIMITS:
        return State("limits", _("Restricted, tag %(number)s") % {"number": number}, 4)
    return State("open", _("Watch, tag %(number)s") % {"number": number}, 1)


def of_qualifications(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return the state of each qualification held."""
    practices = Practices(rows, moment.zone.key)
    return followed.qualifications(rows, {row.pk: of_qualification(row, moment, practices) for row in rows})


def of_qualification(held: Any, moment: Moment, practices: Practices) -> State:
    """Return the state of one qualification held: by its certificate, and by practice where it lapses without."""
    if not held.second_look_by:
        return State("second", _("Waiting for second look"), 3)
    good_through = practices.good_through(held)
    if good_through is None:
        return State("indate", _("No end printed on it"))
    state = by_day(good_through, moment)
    if good_through != held.expires_on and not state.quiet:
        return State(state.mark, _("%(state)s, by practice") % {"state": state.words}, state.rank)
    return state


def of_medicals(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return the state of each medical."""
    return followed.medicals(rows, {row.pk: of_medical(row, moment) for row in rows})


def of_medical(medical: Any, moment: Moment) -> State:
    """Return the state of one medical."""
    if medical.outcome == MedicalOutcome.UNFIT:
        return State("over", _("Not fit"), 5)
    state = by_day(medical.good_until, moment)
    if medical.outcome == MedicalOutcome.LIMITED:
        return State("limits", _("Fit with limits. %(state)s") % {"state": state.words}, max(state.rank, 1))
    return state


def of_spans(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return whether each duty period or wait is over, on, or to come."""
    return {row.pk: _of_span(row, moment) for row in rows}


def _of_span(span: Any, moment: Moment) -> State:
    if span.ends_at <= moment.now:
        return State("", _("Over"))
    if span.starts_at > moment.now:
        return State("", _("To come"))
    return State("open", _("Now"))


def of_contacts(rows: Sequence[Any], moment: Moment) -> dict[int, State]:
    """Return how long ago each number was confirmed."""
    found = {}
    for row in rows:
        if row.confirmed_on is None:
            found[row.pk] = State("unknown", _("Never confirmed"), 3)
            continue
        until = row.confirmed_on + timedelta(days=int(moment.rules["contact_confirm_days"]))
        state = by_day(until, moment)
        words = _("Confirmed %(day)s") % {"day": day_text(row.confirmed_on)} if state.quiet else state.words
        found[row.pk] = State(state.mark, words, state.rank)
    return found


def of_banks(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return how old the newest reading of each bank is."""
    newest = newest_readings([row.pk for row in rows], moment)
    return {row.pk: of_bank(newest.get(row.pk), moment) for row in rows}


def newest_readings(bank_ids: Sequence[int], moment: Moment) -> dict[int, BankReading]:
    """Return the newest reading of each bank, in one query."""
    newest = BankReading.objects.filter(bank=OuterRef("pk"), retired_at=None, read_at__lte=moment.now)
    banks = GasBank.objects.filter(pk__in=bank_ids).annotate(newest=Subquery(newest.values("pk")[:1]))
    readings = BankReading.objects.filter(pk__in=banks.order_by().values("newest"))
    return {reading.bank_id: reading for reading in readings}


def of_bank(reading: Any, moment: Moment) -> State:
    """Return the state of a bank with this newest reading."""
    if reading is None:
        return State("unknown", _("Never read"), 3)
    minutes = int((moment.now - reading.read_at).total_seconds() // 60)
    text = _("%(pressure)s %(unit)s, read %(age)s ago") % {
        "pressure": f"{reading.pressure.normalize():f}", "unit": reading.get_unit_display(), "age": age_text(minutes),
    }  # fmt: skip
    if minutes >= int(moment.rules["bank_age_min"]):
        return State("unknown", _("%(reading)s: too old, read it again") % {"reading": text}, 3)
    return State("indate", text)


def of_cylinders(rows: Sequence[Kept], moment: Moment) -> dict[int, State]:
    """Return what the newest analysis of each cylinder said."""
    newest = CylinderAnalysis.objects.filter(cylinder=OuterRef("pk"), retired_at=None, analysed_at__lte=moment.now)
    cylinders = Cylinder.objects.filter(pk__in=[row.pk for row in rows]).annotate(
        newest=Subquery(newest.values("pk")[:1])
    )
    analyses = CylinderAnalysis.objects.filter(pk__in=cylinders.order_by().values("newest"))
    found = {one.cylinder_id: one for one in analyses}
    return {row.pk: of_analysis(found.get(row.pk), moment) for row in rows}


def of_analysis(analysis: Any, moment: Moment) -> State:
    """Return the state of a cylinder with this newest analysis."""
    if analysis is None:
        return State("unknown", _("Not analysed: counts for nothing"), 3)
    on = day_text(analysis.analysed_at.astimezone(moment.zone))
    if analysis.result == AnalysisResult.FAILED:
        return State("over", _("Refused %(day)s: counts for nothing") % {"day": on}, 5)
    return State("indate", _("Analysed and passed %(day)s") % {"day": on})
