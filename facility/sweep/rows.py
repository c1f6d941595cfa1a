"""From rows to things that fall due, for many sites in one query."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import F, OuterRef

from facility.compute.flags import Sort, Thing, later
from facility.gathered import Rows, branch, current, fetch, nested, newest
from facility.models import Contact, MedicalFitness, MedicalOutcome, Person, QualificationHeld
from maintenance.models import Equipment, IntervalRule
from maintenance.upkeep.state import On, Word, iter_states

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from decimal import Decimal

    from django.db.models import QuerySet

    from facility.models import Kept
    from maintenance.upkeep.state import DueState

    HouseRules = Mapping[str, Decimal]

#: the row that a thing's event is about
SUBJECTS: dict[Sort, type[Kept]] = {
    Sort.RULE: IntervalRule, Sort.LIFE: Equipment, Sort.QUALIFICATION: Person, Sort.MEDICAL: Person, Sort.CONTACT: Contact,
}  # fmt: skip


def branches(site_ids: Sequence[int]) -> list[QuerySet[Any]]:
    """Return what may fall due at some sites; the site comes first in each row."""
    lives = current(Equipment).filter(site__in=site_ids, life_ends_on__isnull=False)
    people = current(Person).filter(site__in=site_ids)
    held = current(QualificationHeld).filter(person=OuterRef("pk")).exclude(second_look_by="")
    medicals = current(MedicalFitness).filter(person=OuterRef("pk")).order_by("-examined_on", "-id")
    return [
        branch(Sort.LIFE, lives, "site_id", "pk", "tag", "life_ends_on"),
        branch(
            Sort.MEDICAL, people, "site_id", "pk", "key",
            newest(medicals, "good_until", "outcome"), nested(held, "kind_id", F("kind__key"), "expires_on"),
        ),
        branch(Sort.CONTACT, current(Contact).filter(site__in=site_ids), "site_id", "pk", "key", "confirmed_on"),
    ]  # fmt: skip


def things_of(rules: Mapping[int, HouseRules], zones: Mapping[int, tuple[str, date]]) -> dict[int, list[Thing]]:
    """Return what may fall due at some sites. ``zones``: zone and civil day of each. Four queries."""
    rows: Rows = fetch(branches(tuple(rules))) if rules else {}
    found: dict[int, list[Thing]] = defaultdict(list)
    sites = {
        pk: On(day, zone, int(rules[pk]["due_soon_days"]), bool(rules[pk]["window_keeps_good"]))
        for pk, (zone, day) in zones.items()
    }
    acts = current(IntervalRule).filter(equipment__site__in=list(rules), equipment__retired_at=None)
    for state in iter_states(acts, sites):
        if state.word not in (Word.NOT_ASKED, Word.SECOND_LOOK, Word.IN_DOUBT):
            found[state.site].append(_act(state, sites[state.site].today))
    for site_id, pk, tag, ends in rows.get(Sort.LIFE, ()):
        found[site_id].append(Thing(f"life:{pk}", Sort.LIFE, tag, pk, _day(ends)))
    for site_id, *row in rows.get(Sort.MEDICAL, ()):
        found[site_id] += _of_person(row)
    for site_id, pk, key, confirmed_on in rows.get(Sort.CONTACT, ()):
        day = _day(confirmed_on)
        until = None if day is None else later(day, int(rules[site_id]["contact_confirm_days"]))
        found[site_id].append(Thing(f"contact:{pk}", Sort.CONTACT, key, pk, until))
    return found


def _act(state: DueState, today: date) -> Thing:
    """Return an act with its last good day. What use alone leads to is soon at the most, until its counter is read."""
    last = None if state.word == Word.NEVER else state.due_on
    if last is None or state.first is None or state.good_through is None:
        return Thing(f"rule:{state.rule}", Sort.RULE, f"{state.tag}: {state.act}", state.rule, None)
    if state.projected:
        return Thing(f"rule:{state.rule}", Sort.RULE, f"{state.tag}: {state.act}", state.rule, max(last, today))
    through = state.good_through if state.first.reached else last
    late = max((state.good_through - through).days, 0)
    return Thing(f"rule:{state.rule}", Sort.RULE, f"{state.tag}: {state.act}", state.rule, through, late)


def _of_person(row: list[Any]) -> Iterator[Thing]:
    """Yield a person's medical and the best certificate of each qualification; what nobody read twice does not count."""
    pk, key, medical, held = row
    if medical is not None and medical[1] != MedicalOutcome.UNFIT:
        yield Thing(f"medical:{pk}", Sort.MEDICAL, key, pk, _day(medical[0]))
    for kind, (name, until) in _best(held).items():
        if until != date.max:
            yield Thing(f"qualification:{pk}:{kind}", Sort.QUALIFICATION, f"{name} of {key}", pk, until)


def _best(held: Iterable[list[Any]]) -> dict[int, tuple[str, date]]:
    """Return the furthest end of each kind; one without an end never ends."""
    best: dict[int, tuple[str, date]] = {}
    for kind, name, expires_on in held:
        until = _day(expires_on) or date.max
        if kind not in best or best[kind][1] < until:
            best[kind] = (name, until)
    return best


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
