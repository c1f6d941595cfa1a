"""make(): one calm digest for each person, site and civil day, from the person's hour on. Days gone by get none.

Hour and day of a person are those of their first site's clock, for all their sites at once, and what they are told of
several sites goes out as one message (``facility.notices.together``): one a day, also with sites in two time zones.
"""

from __future__ import annotations

import gc
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q

from facility.counted import counted
from facility.gathered import current
from facility.models import Chamber, Notice, NoticeHour, NoticeKind, NoticeMute, SiteRole
from facility.notices import digest_words
from facility.notices.drafts import store
from facility.notices.open_lines import open_at
from facility.notices.people import ANSWERING, first_zones, roles_at
from facility.notices.snoozed import snoozed_at
from facility.notices.standing import seen_by, standing_at
from facility.readiness.services import answers
from facility.sweep.looking import ClockError, look_at, refuse_wrong_clock, rounds

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from datetime import datetime

    from facility.models import Site
    from facility.notices.drafts import Draft
    from facility.notices.open_lines import OpenLine
    from facility.notices.standing import Standing
    from facility.readiness.services import Answer

    Zones = Mapping[int, str]


@dataclass(frozen=True, slots=True)
class _Whose:
    """The roles of somebody at a site, and the day by their own clock."""

    roles: frozenset[str]
    day: date


DEFAULT_HOUR = 7
LONGEST_DAY = timedelta(hours=26)


def make(at: datetime) -> str:
    """Store the digests whose hour has come and return one sentence. Nothing with a clock behind the records."""
    try:
        refuse_wrong_clock(at)
    except ClockError as error:
        return str(error)
    made, zones = 0, first_zones()
    for sites in rounds():
        made += _make(sites, at, zones)
        gc.collect()  # answers refer to each other in circles, and memory is not to grow with sites
    return f"{counted(made, 'digest', 'digests')} made."


def _make(sites: list[Site], at: datetime, zones: Zones) -> int:
    """Store the digests of some sites. Queries grow with the sites that have one due, not with people."""
    due = _due(sites, at, zones)
    wanted = [site for site in sites if due[site.pk]]
    if not wanted:
        return 0
    found: dict[int, list[Answer]] = defaultdict(list)
    for answer in answers(current(Chamber).filter(site__in=wanted).order_by("site_id", "key"), at):
        found[answer.chamber.site_id].append(answer)
    for _news in look_at(
        wanted, at
    ):  # flags of before a power cut, or of a night without a look, are not told as today's
        pass
    stands = standing_at(wanted)
    snoozed = snoozed_at([site.pk for site in wanted], at)
    made = 0
    for site in wanted:
        told = _Told(site, found.pop(site.pk, []), stands[site.pk], snoozed[site.pk], at)
        made += store(told.copies(due[site.pk]), now=at)
    return made


class _Told:
    """What a site tells on a day; what is the same for many is put into words once."""

    def __init__(
        self, site: Site, found: Sequence[Answer], stands: Sequence[Standing], snoozed: Collection[str], at: datetime
    ) -> None:
        self.head = digest_words.head(site, _there(at, site.zone).date(), found)
        self.due = [one for one in stands if one.thing not in snoozed]
        self.opened = [one for one in open_at(site, found) if one.thing not in snoozed]
        self.general = [one for one in self.opened if not one.of_a_person]
        self.with_own = {one.user_id for one in self.due if one.user_id is not None}
        self._drafts: dict[tuple[bool, date], Draft] = {}

    def copies(self, people: Mapping[int, _Whose]) -> Iterator[tuple[Draft, int | None]]:
        """Yield the digest of each account."""
        for user_id, one in people.items():
            everything = not one.roles.isdisjoint(ANSWERING)
            if not everything and user_id in self.with_own:
                yield self._draft(user_id, one.day, everything=False), user_id
                continue
            if (everything, one.day) not in self._drafts:
                self._drafts[everything, one.day] = self._draft(user_id, one.day, everything=everything)
            yield self._drafts[everything, one.day], user_id

    def _draft(self, user_id: int, day: date, *, everything: bool) -> Draft:
        due = list(seen_by(self.due, user_id, all_people=everything))
        opened: Sequence[OpenLine] = self.opened if everything else self.general
        return digest_words.draft(replace(self.head, told_on=day), due, opened)


def _there(at: datetime, zone: str) -> datetime:
    return at.astimezone(ZoneInfo(zone))


def _due(sites: Sequence[Site], at: datetime, zones: Zones) -> dict[int, dict[int, _Whose]]:
    """Return whose hour has come and who has no digest of today yet, with their roles, by site. Four queries."""
    pks = [site.pk for site in sites]
    roles = roles_at(pks)
    told = Q(user__memberships__site__in=pks) | Q(user__is_superuser=True)  # first accounts stand in without a role
    hours = dict(NoticeHour.objects.filter(told).values_list("user_id", "hour"))
    rows = Notice.objects.filter(site__in=pks, kind=NoticeKind.DIGEST, made_at__gt=at - LONGEST_DAY)
    done = set(rows.values_list("once_key", flat=True))
    muted = NoticeMute.objects.filter(site__in=pks, kind=NoticeKind.DIGEST, retired_at=None)
    quiet = set(muted.values_list("site_id", "user_id"))
    clocks = {zone: _there(at, zone) for zone in {*zones.values(), *(site.zone for site in sites)}}
    found: dict[int, dict[int, _Whose]] = defaultdict(dict)
    for site in sites:
        for user, held in roles[site.pk].items():
            there = clocks[zones.get(user, site.zone)]
            key = f"digest:{site.pk}:{there.date().isoformat()}:{user}"
            if there.hour < hours.get(user, DEFAULT_HOUR) or held == {SiteRole.INSPECTOR}:
                continue
            if (site.pk, user) not in quiet and key not in done:
                found[site.pk][user] = _Whose(held, there.date())
    return found
