"""The words on top of the Now page and beside each state: what can start, until when, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

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
    groups: dict[str, list[str]] = {}
    for name, state in plans:
        groups.setdefault(str(state), []).append(spoken(name))
    if not groups:
        return _("No table is planned for here yet. Until one is, nothing is known.")
    every = [name for names in groups.values() for name in names]
    return " ".join(_sentences(groups, tables_only=all(name.startswith(TABLE) for name in every)))


def spoken(name: str) -> str:
    """Set what follows a comma in brackets, so that a name can stand in a row of names.

    >>> spoken("Table 6, two patients")
    'Table 6 (two patients)'
    """
    head, comma, rest = name.partition(", ")
    return f"{head} ({rest})" if comma else name


def _sentences(groups: Mapping[str, list[str]], *, tables_only: bool) -> Iterable[str]:
    """Give one sentence per group; the word table is left out once it is clear from the one before."""
    clear = False
    none_can = State.NOT_READY in groups and not groups.keys() & {State.READY, State.READY_WITH_LIMITS}
    if none_can:
        yield _("No table can start now.")
        clear = tables_only
    for state, one, many in (
        (State.READY, _("%(names)s can start now."), _("%(names)s can start now.")),
        (
            State.READY_WITH_LIMITS,
            _("%(names)s can start now, with limits."),
            _("%(names)s can start now, with limits."),
        ),
        (State.NOT_READY, _("%(names)s cannot."), _("%(names)s cannot.")),
        (State.NOT_KNOWN, _("%(names)s is not known."), _("%(names)s are not known.")),
    ):
        names = groups.get(state, [])
        if names and not (state == State.NOT_READY and none_can and len(groups) == 1):
            yield (one if len(names) == 1 else many) % {"names": _named(names, clear=clear)}
            clear = tables_only


def _named(names: Sequence[str], *, clear: bool) -> str:
    """Name the tables of one sentence: Table 5, Tables 5 and 6, or 6A where it is clear what that is."""
    if not all(name.startswith(TABLE) for name in names):
        return listed(names)
    bare = listed([name.removeprefix(TABLE) for name in names])
    if clear:
        return bare
    return (_("Table %(names)s") if len(names) == 1 else _("Tables %(names)s")) % {"names": bare}


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
    said = [_explained(keys[0], first, names, _("%(name)s is missing."))]
    if first.get("lift"):
        said.append(_("Can be lifted by: %(who)s.") % {"who": str(first["lift"]).rstrip(".")})
    if len(keys) > 1:
        said.append(_("%(number)d more in the way.") % {"number": len(keys) - 1})
    return " ".join(said)


def _of_limit(key: str, finding: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Say what limits, and how."""
    return _explained(key, finding, names, _("Limited by %(name)s."))


def _explained(key: str, finding: Mapping[str, Any], names: Mapping[str, str], otherwise: str) -> str:
    """Name a need and give its first cause in one sentence; without one, the words for that."""
    name = names.get(key) or str(finding.get("name") or key)
    if not finding.get("reason"):
        return otherwise % {"name": name}
    return _("%(name)s: %(reason)s") % {"name": name, "reason": _first_cause(finding) or finding["reason"]}


def _first_cause(finding: Mapping[str, Any]) -> str:
    """Say the first member that is wanting and how many more there are; all of them stand on the Why page."""
    wanting = [one for one in finding.get("members", ()) if one.get("causes")]
    if not wanting or "slots" in finding:
        return ""
    first = wanting[0]
    kind, _colon, tag = str(first["id"]).partition(":")
    amount = str(first.get("limit", "")).partition(":")[0]
    if kind == "bank" and first["state"] == "bad" and first.get("value") and amount:
        cause = _("%(have)s of %(needed)s") % {"have": first["value"], "needed": amount}
    else:
        cause = str(first["causes"][0])
    said = f"{tag} {cause}" if kind == "equipment" else cause
    if len(wanting) == 1:
        return f"{said}."
    more = ngettext("%(number)d other is wanting too", "%(number)d others are wanting too", len(wanting) - 1)
    return f"{said}; {more % {'number': len(wanting) - 1}}."
