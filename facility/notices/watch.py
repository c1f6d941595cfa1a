"""look(): compare what each plan is now with what people were last told, and tell what changed, once.

After a pause, however long, only the difference between then and now is told.
"""

from __future__ import annotations

import gc
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from facility import house
from facility.compute.flags import ahead_of
from facility.compute.instants import MINUTES_PER_DAY
from facility.compute.notices import changes, not_told, told_state
from facility.counted import counted
from facility.gathered import current
from facility.models import Chamber, Site, Told
from facility.notices import watch_words
from facility.notices.drafts import store
from facility.notices.people import answering
from facility.notices.snoozed import snoozed_at
from facility.readiness.services import answers
from facility.sweep.looking import ClockError, refuse_wrong_clock, rounds
from treatments.readiness import IN_USE, IN_USE_TOO

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime
    from decimal import Decimal

    from facility.readiness.services import Answer

IN_USE_NEEDS = frozenset({IN_USE, IN_USE_TOO})


@dataclass(frozen=True, slots=True)
class ChamberNews:
    """What differs from what was told of one chamber; ``seen`` is the row that it was compared with."""

    chamber: Chamber
    seen: Told | None
    states: Mapping[str, str]
    ahead: tuple[str, ...]
    changed: tuple[watch_words.Line, ...] = ()
    coming: tuple[watch_words.Line, ...] = ()

    @property
    def is_new(self) -> bool:
        """Whether the row has to be written."""
        seen = self.seen
        return seen is None or seen.states != self.states or list(seen.ahead) != list(self.ahead)


def look(at: datetime) -> str:
    """Look at every chamber and return one sentence. With a clock behind the records nothing is told.

    A chamber that is looked at for the first time is only noted.
    """
    return look_some(at)[0]


def look_some(at: datetime, *, after: int = 0, enough: Callable[[], bool] = lambda: False) -> tuple[str, int | None]:
    """Look at the sites behind number ``after``, some at least, until ``enough``. Return a sentence and where to go on.

    Where to go on is None at the end, and where the clock is behind the records.
    """
    try:
        refuse_wrong_clock(at)
    except ClockError as error:
        return str(error), None
    told = sites = 0
    rest: int | None = None
    for some in rounds(after):
        if rest is not None and enough():
            break
        rest = some[-1].pk
        for site, news in _news_of(some, at).items():
            sites += 1
            told += _tell(site, news, at)
        gc.collect()  # answers refer to each other in circles, and memory is not to grow with sites
    else:
        rest = None
    said = f"{counted(told, 'notice', 'notices')} of readiness, {counted(sites, 'site', 'sites')} with something new."
    return said, rest


def _news_of(sites: list[Site], at: datetime) -> dict[Site, list[ChamberNews]]:
    """Return the news of some sites; the number of queries does not grow with their records."""
    rules = house.values_of([site.pk for site in sites])
    by_pk = {site.pk: site for site in sites}
    chambers = list(current(Chamber).filter(site__in=sites).order_by("site_id", "key"))
    seen = {row.chamber_id: row for row in Told.objects.filter(chamber__in=chambers)}
    found: dict[Site, list[ChamberNews]] = defaultdict(list)
    for answer in answers(chambers, at):
        site = by_pk[answer.chamber.site_id]
        news = _compare(answer, seen.get(answer.chamber.pk), site, _lead(rules[site.pk]))
        if news.is_new:
            found[site].append(news)
    return found


def _lead(rules: Mapping[str, Decimal]) -> int:
    return int(rules["lead_time_days"]) * MINUTES_PER_DAY


def _compare(answer: Answer, seen: Told | None, site: Site, lead_min: int) -> ChamberNews:
    states = {plan: told_state(found.findings, IN_USE_NEEDS) for plan, found in answer.evaluations.items()}
    ahead = {f"{one.plan}:{one.need}": one for one in ahead_of(answer.facts, answer.at, lead_min)}
    written = {plan: str(state) for plan, state in states.items()}
    if seen is None:
        return ChamberNews(answer.chamber, None, written, tuple(ahead))
    return ChamberNews(
        answer.chamber, seen, written, tuple(ahead),
        changed=tuple(watch_words.changed(answer, one, site, IN_USE_NEEDS) for one in changes(seen.states, states)),
        coming=tuple(watch_words.coming(answer, ahead[key], site) for key in not_told(ahead, seen.ahead)),
    )  # fmt: skip


@transaction.atomic
def _tell(site: Site, news: list[ChamberNews], at: datetime) -> int:
    """Note what is told and store the notices, together. A look that came in between has told it already."""
    locked = Site.objects.select_for_update().get(pk=site.pk)
    mine = [one for one in news if _noted(one, at)]
    snoozed = snoozed_at([site.pk], at)[site.pk]
    changed = [line for one in mine for line in one.changed if line.thing not in snoozed]
    coming = [line for one in mine for line in one.coming if line.thing not in snoozed]
    if not changed and not coming:
        return 0
    minutes = int(house.values(locked)["answer_within_min"])
    drafts = watch_words.drafts(site, changed, coming, watch_words.Moment(at, minutes))
    people = answering(site.pk, at)
    return store(((draft, user) for draft in drafts for user in people), now=at)


def _noted(news: ChamberNews, at: datetime) -> bool:
    """Store what is told of a chamber now; False if another look was first."""
    values = {"states": dict(news.states), "ahead": list(news.ahead), "told_at": at}
    if news.seen is None:
        return Told.objects.get_or_create(chamber=news.chamber, defaults=values)[1]
    row = Told.objects.filter(pk=news.seen.pk).values("states", "ahead").first()
    if row != {"states": news.seen.states, "ahead": news.seen.ahead}:
        return False
    return bool(Told.objects.filter(pk=news.seen.pk).update(**values))
