"""The words on top of the Now page and beside each state: what can start, until when, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from facility.compute.instants import Instant, parse_instant
from facility.compute.states import State
from facility.readiness.times import day_name, end_words, local

TABLE = "Table "


@dataclass(frozen=True, slots=True)
class StartBy:
    """A line such as: Start before | 18:00 | today. The middle is set large."""

    lead: str
    figure: str = ""
    tail: str = ""

    def __str__(self) -> str:
        return " ".join(filter(None, (self.lead, self.figure, self.tail)))


def listed(names: Sequence[str]) -> str:
    """Join names for a sentence: 5, 6 and 9."""
    *some, last = names or [""]
    return _("%(some)s and %(last)s") % {"some": ", ".join(some), "last": last} if some else last


def sentence(plans: Iterable[tuple[str, str]]) -> str:
    """Say on the telephone which tables can start now: (name, state) in, whole sentences out."""
    rows = list(plans)
    if not rows:
        return _("No table is planned for here yet. Until one is, nothing is known.")
    short = len(rows) > 1 and all(name.startswith(TABLE) for name, _state in rows)
    groups: dict[str, list[str]] = {}
    for name, state in rows:
        groups.setdefault(str(state), []).append(name.removeprefix(TABLE) if short else name)
    return " ".join(_sentences(groups, short=short))


def _sentences(groups: Mapping[str, list[str]], *, short: bool) -> Iterable[str]:
    """Give one sentence per group; only the first names the thing in full."""
    first = short
    for state, words in (
        (State.READY, _("%(names)s can start now.")),
        (State.READY_WITH_LIMITS, _("%(names)s can start now, with limits.")),
    ):
        if state in groups:
            yield words % {"names": _named(groups[state], short=first)}
            first = False
    if State.NOT_READY in groups and not groups.keys() & {State.READY, State.READY_WITH_LIMITS}:
        yield _("No table can start now.")
        first = False
    if State.NOT_READY in groups and len(groups) > 1:
        yield _("%(names)s cannot.") % {"names": _named(groups[State.NOT_READY], short=first)}
        first = False
    if State.NOT_KNOWN in groups:
        unknown = groups[State.NOT_KNOWN]
        words = _("%(names)s is not known.") if len(unknown) == 1 else _("%(names)s are not known.")
        yield words % {"names": _named(unknown, short=first)}


def _named(names: Sequence[str], *, short: bool) -> str:
    """Name tables at the head of a row of sentences: Table 5, or Tables 5 and 6."""
    if not short:
        return listed(names)
    head = _("Table %(names)s") if len(names) == 1 else _("Tables %(names)s")
    return head % {"names": listed(names)}


def start_by(evaluation: Mapping[str, Any], names: Mapping[str, str], at: Instant, zone: str) -> StartBy:
    """Say until when a run may start, from when it may, or what to find out first."""
    state, here = str(evaluation["state"]), local(at, zone)
    if state == State.NOT_KNOWN:
        missing = [names.get(key, key) for key in evaluation.get("in_the_way", ())]
        return StartBy(
            _("Find out first: %(names)s") % {"names": listed(missing)} if missing else _("Nothing to go by")
        )
    if state == State.NOT_READY:
        if evaluation.get("ready_from") is None:
            return StartBy(_("Not before it is lifted"))
        there = local(parse_instant(evaluation["ready_from"]), zone)
        return StartBy(_("Not before"), f"{there:%H:%M}", day_name(there, here))
    if evaluation.get("holds_until") is None:
        return StartBy(_("No end on record"))
    day, hour = end_words(local(parse_instant(evaluation["holds_until"]), zone))
    return StartBy(_("Start before"), hour, day_name(day, here))


def reason(evaluation: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Say what ends first, what limits, or what stands in the way and who can lift it."""
    findings: Mapping[str, Mapping[str, Any]] = evaluation.get("findings", {})
    state = str(evaluation["state"])
    in_the_way = [key for key in evaluation.get("in_the_way", ()) if key in findings]
    if in_the_way and state in {State.NOT_READY, State.NOT_KNOWN}:
        return _of_obstacle(in_the_way, findings, names)
    if not findings:
        return _("This plan rests on nothing yet: write its needs and crew under Set-up.")
    said = [_of_limit(key, findings[key], names) for key in findings if findings[key].get("state") == "limits"]
    ending = [names.get(key, key) for key in evaluation.get("limiting", ())]
    if ending:
        said.append(_("First to end: %(names)s.") % {"names": listed(ending)})
    return " ".join(said)


def _of_obstacle(keys: Sequence[str], findings: Mapping[str, Mapping[str, Any]], names: Mapping[str, str]) -> str:
    """Name the first thing in the way, who can lift it, and how many more there are."""
    first = findings[keys[0]]
    said = [str(first.get("reason") or "") or _("%(name)s is missing.") % {"name": names.get(keys[0], keys[0])}]
    if first.get("lift"):
        said.append(_("Can be lifted by: %(who)s.") % {"who": str(first["lift"]).rstrip(".")})
    if len(keys) > 1:
        said.append(_("%(number)d more in the way.") % {"number": len(keys) - 1})
    return " ".join(said)


def _of_limit(key: str, finding: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Say what a limit is: its own sentence, else its name."""
    return str(finding.get("reason") or "") or _("Limited by %(name)s.") % {"name": names.get(key, key)}
