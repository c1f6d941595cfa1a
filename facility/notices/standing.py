"""The flags that stand at some sites, each with its name, what to do next and the page for it."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.flags import FlagState, Sort
from facility.compute.instants import parse_instant
from facility.models import Event, Flag, Person
from facility.notices.naming import Names
from facility.readiness.links import link
from facility.readiness.words import day, when

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from facility.compute.instants import Instant
    from facility.models import Site

AT_ONCE = 2000
OF_A_PERSON = frozenset({Sort.MEDICAL, Sort.QUALIFICATION})
ORDER = [Sort.PLAN, Sort.RULE, Sort.LIFE, Sort.QUALIFICATION, Sort.MEDICAL, Sort.CONTACT]
STATES = [FlagState.LAPSED, FlagState.OVERDUE, FlagState.NEVER, FlagState.AHEAD, FlagState.DUE_SOON]
_AHEAD = re.compile(r"not ready from (?P<when>\S+), stopped by (?P<need>.+)")


@dataclass(frozen=True, slots=True)
class Standing:
    """One flag in words. ``person_id``: whom of the crew it is about, else none. ``user_id``: that person's account.

    ``stops_at``: from when a plan will not be ready, in minutes as every instant; 0 for other sorts.
    """

    thing: str
    sort: Sort
    state: FlagState
    title: str
    said: str
    action: str
    url: str
    raised_on: date
    person_id: int | None = None
    user_id: int | None = None
    stops_at: Instant = 0

    @property
    def is_pressing(self) -> bool:
        """Whether its day is past, or none was ever recorded."""
        return self.state in (FlagState.LAPSED, FlagState.OVERDUE, FlagState.NEVER)


@dataclass(frozen=True, slots=True)
class _About:
    """Names, and the account of each person, of all that stands."""

    names: Names
    accounts: Mapping[int, int]


def standing_at(sites: Sequence[Site]) -> dict[int, list[Standing]]:
    """Return what stands at some sites, the most pressing first. At most ten queries, however much stands."""
    by_pk = {site.pk: site for site in sites}
    rows = list(Flag.objects.filter(site__in=by_pk, over_at=None))
    told = _told({row.event_seq for row in rows})
    accounts: dict[int, int] = {}
    if any(row.sort in OF_A_PERSON for row in rows):
        people = Person.objects.filter(site__in=by_pk, user__isnull=False)
        accounts = dict(people.values_list("pk", "user_id"))
    about = _About(Names(rows), accounts)
    found: dict[int, list[Standing]] = defaultdict(list)
    for row in rows:
        found[row.site_id].append(_standing(row, told.get(row.event_seq, {}), by_pk[row.site_id], about))
    for some in found.values():
        some.sort(key=_place)
    return found


def _place(one: Standing) -> tuple[int, int, str]:
    return STATES.index(one.state), ORDER.index(one.sort), one.title


def _told(seqs: Iterable[int]) -> dict[int, Mapping[str, str]]:
    """Return what the events of some flags tell."""
    wanted, found = sorted(seqs), {}
    for begin in range(0, len(wanted), AT_ONCE):
        rows = Event.objects.filter(seq__in=wanted[begin : begin + AT_ONCE]).values_list("seq", "payload")
        found.update({seq: json.loads(payload)["after"] for seq, payload in rows.iterator()})
    return found


def _standing(row: Flag, told: Mapping[str, str], site: Site, about: _About) -> Standing:
    sort, state = Sort(row.sort), FlagState(row.state)
    number = int(row.thing.split(":")[1])
    person = number if sort in OF_A_PERSON else None
    action, url = _next(sort, row.thing, site)
    ahead = _AHEAD.fullmatch(told.get("note", ""))
    return Standing(
        thing=row.thing, sort=sort, state=state, title=about.names.title(row, told.get("thing", row.thing)),
        said=_said(row, ahead, site, about.names), action=action, url=url, raised_on=row.raised_on,
        person_id=person, user_id=None if person is None else about.accounts.get(person),
        stops_at=parse_instant(ahead["when"]) if ahead is not None else 0,
    )  # fmt: skip


def _said(row: Flag, found: re.Match[str] | None, site: Site, names: Names) -> str:
    """Say the state and its day."""
    if found is not None:
        from_ = when(parse_instant(found["when"]), site.zone)
        return _("not ready from %(when)s, stopped by %(need)s") % {
            "when": from_,
            "need": names.need(row, found["need"]),
        }
    if row.last_good is None:
        return _("nothing is on record") if row.state == FlagState.NEVER else state_words(FlagState(row.state))
    words = _("%(state)s, good through %(day)s")
    return words % {"state": state_words(FlagState(row.state)), "day": day(row.last_good)}


def state_words(state: FlagState) -> str:
    """Return a state in the reader's language."""
    return {
        FlagState.DUE_SOON: _("due soon"),
        FlagState.OVERDUE: _("overdue"),
        FlagState.LAPSED: _("lapsed"),
        FlagState.NEVER: _("never recorded"),
        FlagState.AHEAD: _("not ready ahead"),
    }[state]


def _next(sort: Sort, thing: str, site: Site) -> tuple[str, str]:
    """Return what to do next about a thing, and the page for it."""
    number = thing.split(":")[1]
    acts = {
        Sort.RULE: (_("Do it and record the work."), link("maintenance:rule", site.key, number)),
        Sort.LIFE: (_("Replace it, or record what its maker or code allows."), _kept(site, "equipment", number)),
        Sort.QUALIFICATION: (_("Renew it and enter the new certificate."), _kept(site, "person", number)),
        Sort.MEDICAL: (_("Arrange the examination and record its outcome."), _kept(site, "person", number)),
        Sort.CONTACT: (_("Ring and confirm the number."), _kept(site, "contact", number)),
        Sort.PLAN: (_("See what can be renewed, ordered or moved before then."), link("readiness:ahead", site.key)),
    }
    return acts[sort]


def _kept(site: Site, kind: str, number: str) -> str:
    return link("records:detail", site.key, kind, int(number))


def seen_by(found: Iterable[Standing], user_id: int, *, all_people: bool) -> Iterator[Standing]:
    """Yield what an account may be told: flags on a person go to that person, to supervisors and to directors."""
    return (one for one in found if one.person_id is None or all_people or one.user_id == user_id)
