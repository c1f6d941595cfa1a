"""Which tables an item would stop or limit if it were out, everything else staying as it is."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.needs import members_of
from facility.compute.shared_needs import counts_of, need_level
from facility.compute.states import BAD, GOOD, LIMITED, UNKNOWN
from facility.readiness.sentences import listed, spoken
from facility.readiness.services import answers, chambers_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from facility.compute.facts import Need
    from facility.models import Site
    from facility.readiness.services import Answer


@dataclass(frozen=True, slots=True)
class Reach:
    """Names of tables that stop, that are limited, that are no longer known, and that rest on the item but go on."""

    stopped: tuple[str, ...] = ()
    limited: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    untouched: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Say it in a sentence; nothing where no table rests on the item."""
        parts = []
        if self.stopped:
            parts.append(_("stops %(tables)s") % {"tables": _named(self.stopped)})
        if self.limited:
            parts.append(_("limits %(tables)s") % {"tables": _named(self.limited)})
        if self.unknown:
            parts.append(_("leaves %(tables)s not known") % {"tables": _named(self.unknown)})
        if self.untouched and not parts:
            parts.append(_("none now: another of its need holds"))
        return "; ".join(parts)


def _named(names: Sequence[str]) -> str:
    return listed([spoken(name) for name in names])


class Stops:
    """All chambers of a site, asked about one member after another. The number of queries does not grow."""

    def __init__(self, site: Site, at: datetime) -> None:
        found = list(answers(chambers_of(site), at))
        self._several = len(found) > 1
        self._levels: dict[str, list[tuple[str, Need, tuple[str, ...], list[int]]]] = defaultdict(list)
        self._asking: dict[str, list[str]] = defaultdict(list)
        self._medical: list[str] = []
        for answer in found:
            self._take(answer)

    def of_item(self, tag: str, *, restricts: bool) -> Reach:
        """Return what an item out of date would do. ``restricts``: it would limit what rests on it, not take it out."""
        return self._of(f"equipment:{tag}", LIMITED if restricts else BAD)

    def of_bank(self, key: str) -> Reach:
        """Return what a bank taken out would do."""
        return self._of(f"bank:{key}", BAD)

    def asking(self, qualification: str) -> list[str]:
        """Return the tables that have a place in the crew for this qualification."""
        return self._asking.get(qualification, [])

    @property
    def asking_medical(self) -> list[str]:
        """The tables that have a place in the crew for which a medical must be in date."""
        return self._medical

    def _take(self, answer: Answer) -> None:
        for key, plan in answer.facts.plans.items():
            name = answer.names.plans[key].name
            said = f"{name} ({answer.chamber.name})" if self._several else name
            run = answer.outlook.run(key)
            for need_key in plan.needs:
                need = answer.facts.needs[need_key]
                levels = [one.level(answer.at) for one in members_of(answer.outlook, run, need_key)]
                members = tuple(dict.fromkeys(need.members))
                for member in members:
                    self._levels[member].append((said, need, members, levels))
            for qualification in {one for role in plan.roles for one in role.qualifications}:
                self._asking[qualification].append(said)
            if any(role.medical for role in plan.roles):
                self._medical.append(said)

    def _of(self, member: str, level: int) -> Reach:
        worst: dict[str, int] = {}
        for said, need, members, levels in self._levels.get(member, ()):
            changed = [max(old, level) if one == member else old for one, old in zip(members, levels, strict=True)]
            after = need_level(counts_of(changed), need)
            before = need_level(counts_of(levels), need)
            told = after if after >= BAD or after > before else GOOD
            worst[said] = max(worst.get(said, GOOD), told)
        stopped, limited, unknown, untouched = (
            tuple(name for name, found in worst.items() if found == level) for level in (BAD, LIMITED, UNKNOWN, GOOD)
        )
        return Reach(stopped, limited, unknown, untouched)
