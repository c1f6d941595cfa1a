"""The Why page of one plan: every finding in groups, and the sums behind the start-by time. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.compute.instants import Instant, instant_of, parse_instant
from facility.compute.states import FindingState, State
from facility.readiness.rows import STARTABLE, PlanMeta
from facility.readiness.times import day_name, end_words, local
from facility.readiness.words import places_filled

_MARKS = {"holds": "indate", "limits": "limits", "not known": "unknown", "stops": "stop"}


@dataclass(frozen=True, slots=True)
class NeedItem:
    """One finding as the table prints it. ``finding``: the finding in its plain shape."""

    key: str
    name: str
    mark: str
    counts: str
    waived: str
    until: str
    limiting: bool
    finding: Mapping[str, Any]

    @property
    def explains(self) -> bool:
        """Whether the reason says more than the members below it: always, unless all is well."""
        return self.finding["state"] != FindingState.HOLDS or not self.finding.get("members")


@dataclass(frozen=True, slots=True)
class Group:
    """Findings of one state, under a head."""

    title: str
    items: tuple[NeedItem, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sum. ``kind``: empty, "tot" (rule above) or "end" (double rule below)."""

    words: str
    figure: str
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum as it is worked on paper."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Why:
    """All that the page prints below its head."""

    counted: str
    groups: tuple[Group, ...]
    sums: tuple[Sum, ...]


def why_of(evaluation: Mapping[str, Any], meta: PlanMeta, at: datetime, zone: str) -> Why:
    """Return the page of one evaluation in the plain shape of the readiness facts.

    Errors: FactsError if an instant of the evaluation is not one.
    """
    now = instant_of(at)
    items = [
        _item(key, finding, evaluation, meta, (now, zone)) for key, finding in evaluation.get("findings", {}).items()
    ]
    sums = (_start_sum(evaluation, meta, now, zone), _duration_sum(evaluation, meta))
    return Why(counted=_counted(items), groups=_groups(items), sums=tuple(one for one in sums if one is not None))


def clock_words(instant: Instant, at: Instant, zone: str) -> str:
    """Write an end with its day: 01:00 tomorrow, 24:00 Thu 3 Dec."""
    day, hour = end_words(local(instant, zone))
    return f"{hour} {day_name(day, local(at, zone))}"


def span_words(minutes: int) -> str:
    """Write a span: 6 h 25.

    >>> span_words(385)
    '6 h 25'
    """
    hours, rest = divmod(minutes, 60)
    return _("%(h)d h %(m)02d") % {"h": hours, "m": rest}


def _item(
    key: str, finding: Mapping[str, Any], evaluation: Mapping[str, Any], meta: PlanMeta, now: tuple[Instant, str]
) -> NeedItem:
    names = {"crew": _("Crew"), **meta.need_names}
    waived = ""
    if finding.get("waived"):
        waived = _("Under waiver; without it: %(state)s") % {"state": _(str(finding.get("without_waiver")))}
    return NeedItem(
        key=key,
        name=names.get(key) or str(finding.get("name") or key),
        mark="waiver" if finding.get("waived") else _MARKS.get(str(finding["state"]), "unknown"),
        counts=_count_words(finding),
        waived=waived,
        until=_until_words(finding, now),
        limiting=key in evaluation.get("limiting", ()),
        finding=finding,
    )


def _until_words(finding: Mapping[str, Any], now: tuple[Instant, str]) -> str:
    """Say until when a need holds; what does not hold has no such time."""
    if finding["state"] == FindingState.STOPS:
        return _("missing")
    if finding["state"] == FindingState.NOT_KNOWN:
        return _("not known")
    lapses = finding.get("lapses_at")
    return clock_words(parse_instant(lapses), *now) if lapses else _("no end on record")


def _count_words(finding: Mapping[str, Any]) -> str:
    """Say how many members are good, limited, not known and bad; of the crew, how many places are filled."""
    counts = finding.get("counts")
    if counts is None:
        return ""
    good, limited, unknown, bad = counts
    if "slots" in finding:
        return places_filled(good + limited, finding["slots"])
    named = (
        (_("%(n)d good"), good),
        (_("%(n)d limited"), limited),
        (_("%(n)d not known"), unknown),
        (_("%(n)d not good"), bad),
    )
    said = [words % {"n": number} for words, number in named if number]
    return ", ".join(said) or _("no members")


def _counted(items: Sequence[NeedItem]) -> str:
    """Say how many needs were looked at and how many are in which state."""
    by_state = {state: sum(1 for item in items if item.finding["state"] == state) for state in FindingState}
    total = ngettext("One need looked at:", "%(n)d needs looked at:", len(items)) % {"n": len(items)}
    words = _("%(holds)d hold, %(limits)d limit, %(stops)d stop, %(unknown)d not known.") % {
        "holds": by_state[FindingState.HOLDS],
        "limits": by_state[FindingState.LIMITS],
        "stops": by_state[FindingState.STOPS],
        "unknown": by_state[FindingState.NOT_KNOWN],
    }
    return f"{total} {words}"


def _groups(items: Iterable[NeedItem]) -> tuple[Group, ...]:
    """Sort findings into the four groups, within each the first to end on top."""
    titles = (
        (FindingState.STOPS, _("Stops the run")),
        (FindingState.NOT_KNOWN, _("Not known")),
        (FindingState.LIMITS, _("Limits the run")),
        (FindingState.HOLDS, _("Holds, the first to end on top")),
    )
    ordered = sorted(items, key=lambda item: (not item.limiting, item.finding.get("lapses_at") or "9", item.name))
    groups = (Group(title, tuple(i for i in ordered if i.finding["state"] == state)) for state, title in titles)
    return tuple(group for group in groups if group.items)


def _start_sum(evaluation: Mapping[str, Any], meta: PlanMeta, at: Instant, zone: str) -> Sum | None:
    """Work out until when a run may start, from the need that ends first."""
    if State(str(evaluation["state"])) not in STARTABLE or not evaluation.get("holds_until"):
        return None
    start = parse_instant(evaluation["holds_until"])
    lines = []
    for key in evaluation.get("limiting", ())[:1]:
        finding = evaluation["findings"][key]
        name = {"crew": _("Crew"), **meta.need_names}.get(key, key)
        end = parse_instant(finding["lapses_at"]) if finding.get("lapses_at") else start
        lines.append(Line(_("%(name)s holds until") % {"name": name}, clock_words(end, at, zone)))
        if end > start:
            lines.append(Line(_("It must hold for"), f"\u2212 {span_words(end - start)}"))
        else:
            lines.append(Line(_("It counts at the start only"), f"\u2212 {span_words(0)}"))
    last = clock_words(start + int(evaluation["duration_min"]), at, zone)
    lines.append(Line(_("Start before"), clock_words(start, at, zone), "end"))
    lines.append(Line(_("A run started then ends"), last))
    return Sum(_("Until when may it start"), tuple(lines))


def _duration_sum(evaluation: Mapping[str, Any], meta: PlanMeta) -> Sum | None:
    """Add up the minutes of the run; not shown if the parts on record do not make the whole."""
    if not meta.parts or sum(minutes for _words, minutes in meta.parts) != int(evaluation["duration_min"]):
        return None
    lines = [Line(words, span_words(minutes)) for words, minutes in meta.parts]
    lines.append(Line(_("The whole run"), span_words(int(evaluation["duration_min"])), "end"))
    return Sum(_("How long it takes"), tuple(lines))
