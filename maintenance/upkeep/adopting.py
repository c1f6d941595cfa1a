"""From a rule of a code to a rule of the site: what it becomes, what it leaves open, and where the house differs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from facility.counted import counted
from facility.reference import sources
from maintenance.compute.due import Anchor
from maintenance.compute.due_windows import WindowKind
from maintenance.compute.requirements import IntervalKind, RuleEffect
from maintenance.models import HappeningKind, IntervalRule, OverdueEffect
from maintenance.readiness.rule_rows import triggers_of
from maintenance.reference import requirements

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.events import Actor
    from maintenance.compute.requirements import Requirement
    from maintenance.models import Equipment

ADOPTABLE = frozenset(
    {IntervalKind.CALENDAR, IntervalKind.LIFE, IntervalKind.EVENT, IntervalKind.HOURS, IntervalKind.BY_OTHERS}
)
"""Kinds that become a rule of an item; the others belong on a check sheet or with a run."""
OPEN_KINDS = frozenset({IntervalKind.HOURS, IntervalKind.BY_OTHERS})
"""Kinds whose number the site, the maker or the authority sets."""
COMPARED = (
    "months", "days", "count_life", "life_months", "anchor", "window_kind", "window_months", "early_months",
    "defer_months", "hard_stop_months",
)  # fmt: skip

UNITS = {"months": ("month", "months"), "days": ("day", "days"), "counts": ("count", "counts")}
"""What the name of a field says behind its comma, as one and many."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One field in which the house differs from the rule it adopted. ``unit``: of both numbers, one and many."""

    label: str
    code: str
    house: str
    unit: tuple[str, str] | None = None

    @property
    def words(self) -> str:
        """Return it in a line: every: code 24 months, house 12 months."""
        said = {"what": self.label, "code": self.code, "house": self.house}
        if self.unit is not None:
            said |= {name: counted(int(said[name]), *self.unit) for name in ("code", "house") if said[name].isdecimal()}
        return _("%(what)s: code %(code)s, house %(house)s") % said


def by_key(key: str) -> Requirement | None:
    """Return a rule of a code by its key."""
    return next((one for one in requirements() if one.key == key), None)


def source_text(rule: Requirement) -> str:
    """Return source, edition and place of a rule in one line."""
    title = str(sources()[rule.source]["title"])
    return f"{title}, {rule.where}"[:200]


def source_words(source: str) -> str:
    """Return a source as it is read: what the title of its code says already is not said again behind it.

    >>> source_words("NFPA 99, Health care facilities code, hyperbaric chapter, hyperbaric chapter; ask the authority")
    'NFPA 99, Health care facilities code, hyperbaric chapter, ask the authority'
    >>> source_words("maker's handbook, maker's table")
    "maker's handbook, maker's table"
    """
    title = title_in(source)
    place = source[len(title) :].lstrip(", ")
    told = re.split(r"[^\w-]+", title)
    left = [part for part in re.split(r"; |, ", place) if not _is_within(re.split(r"[^\w-]+", part), told)]
    return ", ".join([title, *left]) if title and len(left) < place.count("; ") + place.count(", ") + 1 else source


def title_in(source: str) -> str:
    """Return the title of the code in the app's book with which a source begins, nothing where there is none."""
    titles = (str(one["title"]) for one in sources().values())
    return max((one for one in titles if source.startswith(one)), key=len, default="")


def _is_within(words: list[str], longer: list[str]) -> bool:
    """Return whether words follow on each other somewhere in longer ones."""
    return any(longer[start : start + len(words)] == words for start in range(len(longer)))


def terms_from(rule: Requirement) -> dict[str, Any]:
    """Return the interval of a rule as fields of the site's rule. Fields that it leaves open are not named."""
    span = rule.interval
    fields: dict[str, Any] = {"triggers": ", ".join(one for one in rule.triggers if one in HappeningKind.values)}
    if span.kind is IntervalKind.LIFE:
        return fields | {"life_months": span.months, "count_life": Decimal(span.counts) if span.counts else None}
    fields["months"] = span.months
    if span.earliest or span.latest:
        fields |= {"window_kind": WindowKind.FROM_DONE, "early_months": span.earliest, "window_months": span.latest}
    if span.plus_minus:
        fields |= {"window_kind": WindowKind.SYMMETRIC, "window_months": span.plus_minus, "anchor": Anchor.FIXED}
    if span.hard_stop:
        fields |= {"defer_months": span.deferrable, "hard_stop_months": span.hard_stop}
    return fields


def texts_from(rule: Requirement) -> dict[str, Any]:
    """Return everything else of a rule as fields of the site's rule."""
    return {
        "name": rule.what[:120],
        "effect": OverdueEffect.STOPS if rule.effect is RuleEffect.STOPS else OverdueEffect.LIMITS,
        "counts": rule.effect is not RuleEffect.WATCH,
        "source": source_text(rule),
        "standing": str(rule.standing),
        "requirement": rule.key,
        "acceptance": rule.acceptance[:500],
        "who_may": rule.who[:200],
        "evidence_asked": rule.evidence[:300],
    }


def left_out(rule: Requirement) -> tuple[str, ...]:
    """Return triggers that no event of an item stands for; they are to be watched by people."""
    return tuple(one for one in rule.triggers if one not in HappeningKind.values)


def deviations(row: IntervalRule) -> list[Deviation]:
    """Return where a site's rule differs from the one it was adopted from; nothing for a rule of the site's own."""
    rule = by_key(row.requirement) if row.requirement else None
    if rule is None:
        return []
    asked = terms_from(rule)
    found = []
    for name in COMPARED:
        field: Any = IntervalRule._meta.get_field(name)
        code = asked.get(name, field.get_default())
        house = getattr(row, name)
        open_here = name in {"months", "days"} and rule.interval.kind in OPEN_KINDS
        if (code or 0) != (house or 0) and not open_here:
            label, _comma, unit = str(field.verbose_name).partition(", ")
            said, here = (str(dict(field.flatchoices).get(value, _plain(value))) for value in (code, house))
            found.append(Deviation(label, said, here, UNITS.get(unit)))
    missing = set(triggers_of(asked["triggers"])) - set(triggers_of(row.triggers))
    if missing:
        found.append(Deviation(_("also due after"), asked["triggers"], row.triggers or _("nothing")))
    return found


def _plain(value: Any) -> str:
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value if value not in (None, "") else 0)


def conflicting(rule: Requirement) -> list[Requirement]:
    """Return the rules that say another thing of the same matter."""
    return [other for key in rule.conflicts_with if (other := by_key(key)) is not None]


@transaction.atomic
def adopt(rule: Requirement, items: Iterable[Equipment], fields: dict[str, Any], *, by: Actor) -> list[IntervalRule]:
    """Store the rule for each item, as the site decided.

    Errors: ValidationError if a field refuses it, or an item has an act of that name already.
    """
    found = []
    for item in items:
        row = IntervalRule(equipment=item, **texts_from(rule) | fields)
        found.append(services.add(row, by=by, action="rule adopted", reason=row.house_reason))
    return found
