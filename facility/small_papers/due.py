"""What is due within some days, from the same reckoning as the due page, the flags and the calendar of a pack."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from facility import house
from facility.compute.flags import Sort
from facility.counted import counted
from facility.models import Contact, Person, QualificationKind
from facility.pack import scope
from facility.pack.due import entries
from facility.small_papers.stops import Stops
from facility.sweep.rows import things_of
from maintenance.models import Cylinder, Equipment, IntervalRule, OverdueEffect, Reference
from maintenance.upkeep.state import Word, due_states

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from facility.compute.flags import Thing
    from facility.models import Site
    from maintenance.upkeep.state import DueState

WHOLE: Final = "whole"
PEOPLE: Final = "people"
#: they wait for somebody whatever the day: overdue, or no day can be told
NOT_GOOD: Final = frozenset({Word.OVERDUE, Word.NEVER, Word.SECOND_LOOK, Word.IN_DOUBT})


@dataclass(frozen=True, slots=True)
class DueLine:
    """One act. ``day``: its last good day; ``closes``: the end of a window that keeps it good, ``stop``: the hard stop.

    ``late``: overdue, or no day can be told. ``about``: the day is only what the present use leads to.
    """

    area: str
    thing: str
    act: str
    day: date | None
    late: bool
    state: str = ""
    closes: date | None = None
    stop: date | None = None
    about: bool = False
    stops: str = ""
    who: str = ""
    record: str = ""

    @property
    def order(self) -> tuple[bool, date, str, str]:
        """First due first; what has no day before all others, since it may be long past."""
        return self.day is not None, self.day or date.min, self.thing, self.act


@dataclass(frozen=True, slots=True)
class Asked:
    """Whose list it is: a site, its civil day, the days ahead, one area or the whole."""

    site: Site
    at: datetime
    days: int
    area: str = WHOLE

    @property
    def today(self) -> date:
        """The civil day at the site."""
        return self.at.astimezone(ZoneInfo(self.site.zone)).date()

    @property
    def until(self) -> date:
        """The last day of the list."""
        return self.today + timedelta(days=self.days)


@dataclass(frozen=True, slots=True)
class Week:
    """What is due in one week, Monday to Sunday."""

    monday: date
    lines: tuple[DueLine, ...]

    @property
    def sunday(self) -> date:
        """Its last day."""
        return self.monday + timedelta(days=6)

    @property
    def number(self) -> int:
        """Its number by ISO 8601."""
        return self.monday.isocalendar().week


def lines_of(asked: Asked) -> list[DueLine]:
    """Return what is overdue or not known, and what is due by the last day. The number of queries does not grow."""
    stops = Stops(asked.site, asked.at)
    every = [*_acts(asked, stops), *_calendar(asked), *_others(asked, stops)]
    found = [one for one in every if one.late or (one.day is not None and one.day <= asked.until)]
    return sorted((one for one in found if asked.area in (WHOLE, one.area)), key=lambda one: one.order)


def weeks(lines: list[DueLine]) -> list[Week]:
    """Return what is not late, by week.

    >>> [(week.number, len(week.lines)) for week in weeks([DueLine("a", "b", "c", date(2026, 11, 29), False)])]
    [(48, 1)]
    """
    found: dict[date, list[DueLine]] = {}
    for one in lines:
        if one.day is not None and not one.late:
            found.setdefault(one.day - timedelta(days=one.day.weekday()), []).append(one)
    return [Week(monday, tuple(rows)) for monday, rows in sorted(found.items())]


def area_of(kind: str) -> str:
    """Return the area to which a kind of equipment belongs."""
    return next((key for key, (_words, kinds) in scope.AREAS.items() if kind in kinds), "other")


def _acts(asked: Asked, stops: Stops) -> Iterator[DueLine]:
    """Yield what the rules of items ask for."""
    who = dict(IntervalRule.objects.filter(equipment__site=asked.site).exclude(who_may="").values_list("pk", "who_may"))
    for one in due_states(asked.site, asked.today):
        if one.word is Word.NOT_ASKED:
            continue
        yield _act(one, asked, stops, who.get(one.rule, ""))


def _act(one: DueState, asked: Asked, stops: Stops, who: str) -> DueLine:
    """Return one act. A count that was reached left it good through the day before; a day projected from use moves on."""
    put_off, last = one.reckoned.put_off, one.due_on
    if one.first is not None and one.first.reached:
        last = one.good_through
    gone_by = last is not None and last < asked.today
    return DueLine(
        area_of(one.kind), f"{one.tag} {one.item}", one.act, asked.today if gone_by and one.projected else last,
        late=one.word in NOT_GOOD or (gone_by and not one.projected), state=_state(one, last, asked.today),
        closes=one.good_through if last is not None and one.good_through != last else None,
        stop=None if put_off is None else put_off.hard_stop_on, about=one.projected, stops=_missed(one, stops),
        who=who, record=_("rule %(number)d") % {"number": one.rule},
    )  # fmt: skip


def _state(one: DueState, last: date | None, today: date) -> str:
    if one.word is Word.NEVER:
        return _("never recorded") if one.reckoned.never else _("cannot be told from what is recorded")
    if one.word is Word.SECOND_LOOK:
        return _("waits for a second look")
    if one.word is Word.IN_DOUBT:
        return _("in doubt since a recall")
    if one.projected or last is None or last >= today:
        return ""
    if one.word is Word.OVERDUE:
        return _past(last, today)
    return _("past its day, still inside its window")


def _past(day: date | None, today: date) -> str:
    return (
        "" if day is None or day >= today else _("%(days)s past") % {"days": counted((today - day).days, "day", "days")}
    )


def _missed(one: DueState, stops: Stops) -> str:
    if not one.counts_for_readiness:
        return _("none: it does not count for readiness")
    return stops.of_item(one.tag, restricts=one.effect == OverdueEffect.LIMITS).words or _(
        "none: no need of a table names it"
    )


def _calendar(asked: Asked) -> Iterator[DueLine]:
    """Yield what the calendar of a pack has beyond rules: pressure tests of cylinders, calibrations of references."""
    whole = scope.Scope(asked.site, None, asked.today, asked.today)
    days: dict[str, dict[int, date]] = {"rule": {}, "cylinder": {}, "reference": {}}
    for one in entries(whole, asked.at):
        sort, _dash, number = one.uid.partition("-")
        days[sort][int(number)] = one.day
    cylinders = Cylinder.objects.filter(pk__in=days["cylinder"]).values_list("pk", "mark", "bank__name")
    for pk, mark, bank in cylinders:
        thing, day = _("cylinder %(mark)s, %(bank)s") % {"mark": mark, "bank": bank}, days["cylinder"][pk]
        yield DueLine(
            "gas", thing, _("pressure test"), day, day < asked.today, _past(day, asked.today),
            stops=_("none by itself"), who=_("a body that requalifies cylinders"),
            record=_("cylinder %(number)d") % {"number": pk},
        )  # fmt: skip
    for pk, name in Reference.objects.filter(pk__in=days["reference"]).values_list("pk", "name"):
        day = days["reference"][pk]
        yield DueLine(
            "gauges", name, _("calibration of the reference"), day, day < asked.today, _past(day, asked.today),
            stops=_("none by itself; comparisons need it in date"), who=_("an outside laboratory"),
            record=_("reference %(number)d") % {"number": pk},
        )  # fmt: skip


def _others(asked: Asked, stops: Stops) -> Iterator[DueLine]:
    """Yield what lapses by itself: service lives, medicals, qualifications, telephone numbers."""
    rules = house.values_of([asked.site.pk])
    found = things_of(rules, {asked.site.pk: (asked.site.zone, asked.today)}).get(asked.site.pk, [])
    names = _Names(asked.site)
    for one in found:
        if one.sort is Sort.RULE:
            continue
        through = one.good_through
        late = through is None or through < asked.today
        state = _("never confirmed") if through is None else (_past(through, asked.today))
        yield names.line(one, state, stops, late=late)


class _Names:
    """What the things that lapse are called. Four queries."""

    def __init__(self, site: Site) -> None:
        items = Equipment.objects.filter(site=site, life_ends_on__isnull=False)
        self._items = {pk: (tag, name, kind) for pk, tag, name, kind in items.values_list("pk", "tag", "name", "kind")}
        self._people: Mapping[int, str] = dict(Person.objects.filter(site=site).values_list("pk", "name"))
        self._contacts: Mapping[int, str] = dict(Contact.objects.filter(site=site).values_list("pk", "name"))
        kinds = QualificationKind.objects.filter(organisation=site.organisation_id)
        self._kinds = {str(pk): (key, name) for pk, key, name in kinds.values_list("pk", "key", "name")}

    def line(self, one: Thing, state: str, stops: Stops, *, late: bool) -> DueLine:
        """Return one thing as a line of the list."""
        through = one.good_through
        if one.sort is Sort.LIFE:
            tag, name, kind = self._items[one.pk]
            missed = stops.of_item(tag, restricts=False).words or _("none: no need of a table names it")
            return DueLine(area_of(kind), f"{tag} {name}", _("end of its service life: replace"), through, late, state,
                           stops=missed, record=_("item %(number)d") % {"number": one.pk})  # fmt: skip
        if one.sort is Sort.CONTACT:
            return DueLine(PEOPLE, self._contacts[one.pk], _("ring the number and confirm it"), through, late, state,
                           stops=_("none: the number then stands as not confirmed"), record=_("contact %(number)d") % {"number": one.pk})  # fmt: skip
        act, tables = _("renew the medical"), stops.asking_medical
        if one.sort is Sort.QUALIFICATION:
            key, name = self._kinds[one.key.rpartition(":")[2]]
            act, tables = _("renew: %(name)s") % {"name": name}, stops.asking(key)
        missed = (
            _("a place in the crew of %(tables)s") % {"tables": ", ".join(tables)}
            if tables
            else _("no table asks for it")
        )
        return DueLine(PEOPLE, self._people[one.pk], act, through, late, state, stops=missed,
                       record=_("person %(number)d") % {"number": one.pk})  # fmt: skip
