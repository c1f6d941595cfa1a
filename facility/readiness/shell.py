"""The answer at the command line: what is asked for by keys and an instant, and how it is printed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.instants import FactsError, format_instant, instant_of
from facility.compute.typed import FIRST_YEAR, LAST_YEAR
from facility.gathered import current
from facility.models import Chamber, Site
from facility.readiness import services

if TYPE_CHECKING:
    from collections.abc import Iterable


class AskedWrongError(FactsError):
    """What was asked for is not there, or cannot be read; the text names it and says what exists."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One question: a site, one of its chambers or all, an instant."""

    site: Site
    chambers: tuple[Chamber, ...]
    at: datetime


def site_list() -> list[str]:
    """Return one line per site, its key first, then its name and chambers."""
    chambers: dict[int, list[str]] = {}
    for site_id, key in current(Chamber).order_by("key").values_list("site_id", "key"):
        chambers.setdefault(site_id, []).append(key)
    return [
        f"{site.key}\t{site.name}\t{', '.join(chambers.get(site.pk, [])) or _('no chamber')}"
        for site in current(Site).order_by("key")
    ]


def asked(site_key: str, chamber_key: str | None, at_text: str | None, now: datetime) -> Asked:
    """Return what is asked for.

    Errors: AskedWrongError naming the value and what exists.
    """
    site = current(Site).filter(key=site_key).first()
    if site is None:
        raise AskedWrongError(
            _("There is no site %(key)s. Sites: %(known)s.")
            % {"key": repr(site_key), "known": _known(current(Site).order_by("key").values_list("key", flat=True))}
        )
    return Asked(site, tuple(_chambers(site, chamber_key)), now if at_text is None else parse_at(at_text))


def _chambers(site: Site, key: str | None) -> list[Chamber]:
    chambers = services.chambers_of(site)
    if key is None:
        return chambers
    found = [chamber for chamber in chambers if chamber.key == key]
    if not found:
        known = _known(chamber.key for chamber in chambers)
        said = {"site": site.key, "key": repr(key), "known": known}
        raise AskedWrongError(_("Site %(site)s has no chamber %(key)s. Chambers: %(known)s.") % said)
    return found


def _known(keys: Iterable[str]) -> str:
    return ", ".join(keys) or _("none at all")


def parse_at(text: str) -> datetime:
    """Return an instant written in ISO 8601 with its offset from UTC.

    Errors: AskedWrongError if it is no such instant or lacks the offset.
    """
    advice = _("Write it with its offset, for example 2026-11-27T10:00Z or 2026-11-27T11:00+01:00.")
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise AskedWrongError(_("%(text)s is not an instant.") % {"text": repr(text)} + " " + advice) from None
    if found.utcoffset() is None:
        raise AskedWrongError(
            _("%(text)s does not say in which offset from UTC.") % {"text": repr(text)} + " " + advice
        )
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        said = {"text": repr(text), "first": FIRST_YEAR, "last": LAST_YEAR}
        raise AskedWrongError(_("%(text)s: the year must lie from %(first)d to %(last)d.") % said)
    return found


def as_json(question: Asked) -> str:
    """Return the answer in its plain shape."""
    return json.dumps(plain(question), indent=2, ensure_ascii=False)


def plain(question: Asked) -> services.Plain:
    """Return the answer as plain values."""
    return services.output_of(question.site, question.chambers, question.at)


def as_text(question: Asked) -> str:
    """Return the answer in words: a line per plan, below it what limits it or stands in the way."""
    lines = [f"{question.site.name}, {format_instant(instant_of(question.at))}"]
    if not question.chambers:
        lines.append(_("No chamber is recorded: nothing is known of what could be treated."))
    for answer in services.answers(question.chambers, question.at):
        lines += ["", f"{answer.chamber.name} ({answer.chamber.key})"]
        if not answer.facts.plans:
            lines += services.answer_lines(answer)
        for plan, found in answer.evaluations.items():
            lines.append(services.plan_line(answer, plan))
            shown = dict.fromkeys((*found.in_the_way, *found.limiting))
            lines += [f"    {answer.reason(plan, need)}" for need in shown]
    return "\n".join([*lines, "", services.caution()])
