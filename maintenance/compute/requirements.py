"""What codes ask for, rule by rule, read from a file: offered to a site, adopted by people, never decided in secret."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from facility.compute.reference import Standing, UnsourcedError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

NEEDED = ("what", "subject", "acceptance", "who", "evidence", "effect", "source", "where", "standing")
ANY = "any"


class IntervalKind(StrEnum):
    """How often a rule asks for its act."""

    CALENDAR = "calendar"
    HOURS = "running hours"
    BEFORE_EACH_RUN = "before each run"
    BEFORE_EACH_USE = "before each use"
    AFTER_EACH_USE = "after each use"
    ON_DELIVERY = "on delivery"
    EXPIRY = "at expiry"
    LIFE = "life limit"
    EVENT = "on an event"
    STANDING = "at all times"
    BY_OTHERS = "set by the owner, maker or authority"


class RuleEffect(StrEnum):
    """What an overdue rule does to readiness, as proposed; the site decides when it adopts the rule."""

    STOPS = "stops"
    LIMITS = "limits"
    WATCH = "watch"


@dataclass(frozen=True, slots=True)
class Interval:
    """Interval of a rule. Months and years in ``months``; ``counts`` is a life or interval by counter.

    ``earliest`` and ``latest`` months after the last act; ``plus_minus`` months around the due day;
    ``deferrable`` months at each clean inspection, never past ``hard_stop`` months.
    """

    kind: IntervalKind
    months: int = 0
    counts: int = 0
    earliest: int = 0
    latest: int = 0
    plus_minus: int = 0
    deferrable: int = 0
    hard_stop: int = 0


@dataclass(frozen=True, slots=True)
class Requirement:
    """One rule of one code, in our own words."""

    key: str
    what: str
    subject: str
    interval: Interval
    triggers: tuple[str, ...]
    acceptance: str
    who: str
    evidence: str
    effect: RuleEffect
    source: str
    where: str
    standing: Standing
    chamber_types: tuple[str, ...]
    jurisdictions: tuple[str, ...]
    conflicts_with: tuple[str, ...]

    @property
    def confirmed(self) -> bool:
        """Whether it may be shown without the word "unconfirmed"."""
        return self.standing is not Standing.MEMORY


def parse_requirements(text: str, sources: Mapping[str, object]) -> tuple[Requirement, ...]:
    """Return the rules of a TOML text in order.

    Errors: UnsourcedError naming the rule that lacks a field, holds an unknown word, or whose
    conflict is not told from both sides.
    """
    rules = tuple(_rule(key, table, sources) for key, table in tomllib.loads(text).items())
    named = {rule.key: rule for rule in rules}
    for rule in rules:
        for other in rule.conflicts_with:
            if other not in named or rule.key not in named[other].conflicts_with:
                raise UnsourcedError(f"{rule.key}: conflict with {other!r} is not told there. Name it on both sides.")
    return rules


def offered(
    rules: Iterable[Requirement], chamber_types: frozenset[str], jurisdictions: frozenset[str]
) -> tuple[Requirement, ...]:
    """Return the rules to offer to a chamber of these types under these jurisdictions.

    Rules for any type or jurisdiction are always among them. Types: see ``types_of``.
    """
    return tuple(
        rule
        for rule in rules
        if (chamber_types | {ANY}) & set(rule.chamber_types) and (jurisdictions | {ANY}) & set(rule.jurisdictions)
    )


def types_of(rules: Iterable[Requirement]) -> tuple[str, ...]:
    """Return the chamber types that rules name, without "any"."""
    return tuple(sorted({name for rule in rules for name in rule.chamber_types} - {ANY}))


def jurisdictions_of(rules: Iterable[Requirement]) -> tuple[str, ...]:
    """Return the jurisdictions that rules name, without "any"."""
    return tuple(sorted({name for rule in rules for name in rule.jurisdictions} - {ANY}))


def conflicts(rules: Iterable[Requirement]) -> tuple[tuple[Requirement, Requirement], ...]:
    """Return each pair of rules that say different things of one matter, once."""
    named = {rule.key: rule for rule in rules}
    return tuple(
        (rule, named[other])
        for rule in named.values()
        for other in rule.conflicts_with
        if other in named and rule.key < other
    )


def _rule(key: str, table: Mapping[str, Any], sources: Mapping[str, object]) -> Requirement:
    missing = [name for name in (*NEEDED, "interval") if not table.get(name)]
    if missing:
        raise UnsourcedError(f"{key}: {', '.join(missing)} missing. Each rule needs {', '.join(NEEDED)}, interval.")
    if table["source"] not in sources:
        raise UnsourcedError(f"{key}: source {table['source']!r} is not in sources.toml.")
    try:
        effect, standing = RuleEffect(table["effect"]), Standing(table["standing"])
    except ValueError as fault:
        raise UnsourcedError(f"{key}: {fault}.") from None
    return Requirement(
        key=key,
        interval=_interval(key, table["interval"]),
        effect=effect,
        standing=standing,
        chamber_types=tuple(table.get("chamber_types", (ANY,))),
        jurisdictions=tuple(table.get("jurisdictions", (ANY,))),
        triggers=tuple(table.get("triggers", ())),
        conflicts_with=tuple(table.get("conflicts_with", ())),
        **{name: table[name] for name in ("what", "subject", "acceptance", "who", "evidence", "source", "where")},
    )


def _interval(key: str, table: Mapping[str, Any]) -> Interval:
    try:
        interval = Interval(**{**table, "kind": IntervalKind(table["kind"])})
    except (KeyError, ValueError, TypeError) as fault:
        raise UnsourcedError(f"{key}: interval: {fault}.") from None
    numbers = [value for name, value in table.items() if name != "kind"]
    if any(not isinstance(value, int) or isinstance(value, bool) or value < 1 for value in numbers):
        raise UnsourcedError(f"{key}: interval {dict(table)}: months and counts are whole numbers above 0.")
    if interval.kind is IntervalKind.CALENDAR and not interval.months:
        raise UnsourcedError(f"{key}: a calendar interval needs months.")
    return interval
