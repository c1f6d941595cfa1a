"""The page that opens a report: in one look what is not in order, the counts, what is proved, and how to verify it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

import facility
from facility.counted import counted
from facility.models import SigningKey
from facility.report import changes, drawing, plant, runs
from facility.report.areas import PLANT
from facility.report.gaps import Mark
from facility.report.shape import Front, FrontRow, Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from facility.report.checks import Checks
    from facility.report.scope import Frame
    from facility.report.shape import Cell, Section

VERIFIERS: Final = ("verify.py", "verify.html")
#: the areas of which one must be in scope for checks, runs and waivers to be told
CHECKS, RUNS, WAIVERS = ("checks",), ("runs",), ("runs", "procedures")
BRIEF_ROWS: Final = 2
BRIEF_LETTERS: Final = 76
NOTHING_SAID: Final = ("", "\u2013")


def page(frame: Frame, found: Checks, news: Sequence[Section], beginning: str = "") -> Front:
    """Return the opening page; ``news``: the sections whose number is the news, those with nothing in them too.

    ``beginning``: since when there is anything of its days, where that is not all along.
    """
    told = changes.tally(frame)
    after = changes.after(frame, files=False)
    about = " ".join(words for words in (_about(frame, told), beginning, _afterwards(frame, after)) if words)
    picture = _picture(frame, found, list(after.values()))
    words = _counts(frame, found, told, len(after))
    return Front(about, words, _facts(frame, found), _rows(news), picture, *_proved(), _digests())


def _counts(frame: Frame, found: Checks, told: changes.Tally, after: int) -> str:
    """Return the numbers of the log, and of gaps where checks are in scope."""
    words = _("%(entries)s, %(corrected)d corrected, %(voided)d voided, %(late)d late") % {
        "entries": counted(told.entries, "entry", "entries"), "corrected": told.corrected, "voided": told.voided,
        "late": told.late + after,
    }  # fmt: skip
    if frame.scope.has(*CHECKS):
        words += f", {counted(len(found.missing), 'gap', 'gaps')}"
    return words + _("; %(files)d taken in later from files") % {"files": told.from_files}


def _facts(frame: Frame, found: Checks) -> tuple[tuple[str, str], ...]:
    """Return the counts of what is in scope."""
    told: list[tuple[str, int]] = []
    if frame.scope.has(*CHECKS):
        told.append((_("Checks signed"), found.signed))
    if frame.scope.has(*RUNS):
        told.append((_("Runs"), len(runs.runs_of(frame))))
    if frame.scope.has(*WAIVERS):
        told.append((_("Waivers that held"), len(runs.waivers_of(frame))))
    if frame.scope.has(*PLANT):
        told.append((_("Open defects"), len(plant.defects_open(frame))))
    return tuple((words, str(count)) for words, count in told)


def _afterwards(frame: Frame, after: dict[int, datetime]) -> str:
    """Return how much was recorded of these days only after they were over, nothing where that is none."""
    files = len(changes.after(frame, files=True))
    if not files and not after:
        return ""
    return _("Recorded after these days of what happened in them: %(late)s, %(files)d taken in from files.") % {
        "late": counted(len(after), "late entry", "late entries"), "files": files,
    }  # fmt: skip


def _about(frame: Frame, told: changes.Tally) -> str:
    """Return scope, legal ground and place in the log, in a sentence each."""
    words = [_("Scope: %(scope)s.") % {"scope": frame.scope.words or _("the whole site")}]
    if left := _left_out(frame):
        words.append(
            _("Outside this scope, and so neither told nor counted here: %(what)s.") % {"what": ", ".join(left)}
        )
    if frame.scope.pack is not None:
        words.append(_("Ground on which it is handed over: %(ground)s.") % {"ground": frame.scope.pack.ground})
        if released := len(frame.scope.pack.released):
            words.append(ngettext(
                "%(n)d text or picture was let go for it with a reason: data/released.jsonl.",
                "%(n)d texts or pictures were let go for it, each with a reason: data/released.jsonl.", released,
            ) % {"n": released})  # fmt: skip
    if told.entries:
        others = told.last - told.first + 1 - told.entries
        words.append(_("Entries %(first)d to %(last)d of the log, as recorded in these days.") % {
            "first": told.first, "last": told.last})  # fmt: skip
        if others:
            words.append(ngettext(
                "%(n)d entry between them is about something else.", "%(n)d entries between them are about something else.", others,
            ) % {"n": others})  # fmt: skip
    else:
        words.append(_("No entry about this was recorded in these days."))
    return " ".join(words)


def _left_out(frame: Frame) -> list[str]:
    """Return what a report of everything opens with and this one does not."""
    told = (
        (CHECKS, _("checks and their gaps")), (RUNS, _("runs outside the house rules")), (WAIVERS, _("waivers")),
        (PLANT, _("defects, overdue items, deviations and numbers from memory")),
    )  # fmt: skip
    return [words for areas, words in told if not frame.scope.has(*areas)]


def _rows(news: Sequence[Section]) -> tuple[FrontRow, ...]:
    rows, place = [], 0
    for section in news:
        count = section.count or 0
        place += bool(count)
        (table,) = section.tables
        lines = tuple(_line(row) for row in table.rows[:BRIEF_ROWS])
        left = count - table.told_by(BRIEF_ROWS)
        more = _("%(n)d more") % {"n": left} if left > 0 else ""
        rows.append(FrontRow(count, section.title, lines, more, place if count else 0))
    return tuple(rows)


def _line(row: Sequence[Cell]) -> str:
    """Return a row of a table as one line; however long it is, the record at its end stays."""
    texts = [cell.text for cell in row if cell.text not in NOTHING_SAID]
    record = f" \u00b7 {texts.pop()}" if row[-1].figure and len(texts) > 1 else ""
    line = " \u00b7 ".join(texts)
    room = BRIEF_LETTERS - len(record)
    return (line if len(line) <= room else line[: room - 1].rstrip(" \u00b7") + "\u2026") + record


def _picture(frame: Frame, found: Checks, after: Sequence[datetime]) -> Picture:
    """Return when what is not in order was: gaps, late entries, waivers, defects along the days."""
    late = [_one_day(frame.local(at)) for at in changes.late(frame).values_list("recorded_at", flat=True)]
    late += [_one_day(frame.local(at)) for at in after]
    rows: list[tuple[str, Mark | None, Sequence[tuple[date, date]]]] = []
    if frame.scope.has(*CHECKS):
        rows.append((_("gaps"), Mark.GAP, [(one.span.first, one.span.last) for one in found.missing]))
    rows.append((_("late entries"), Mark.LATE, sorted(set(late))))
    if frame.scope.has(*WAIVERS):
        held = [(one.starts_at, one.ended_early_at or one.ends_at) for one in runs.waivers_of(frame)]
        rows.append((_("waivers"), None, [(frame.local(first), frame.local(last)) for first, last in held]))
    if frame.scope.has(*PLANT):
        found_on = [frame.local(one.found_at) for one in plant.defects_open(frame)]
        rows.append((_("open defects"), None, [(day, frame.to_day) for day in found_on]))
    svg = drawing.ribbon(frame.from_day, frame.to_day, rows)
    said = ", ".join(f"{label}: {len(spans)}" for label, _mark, spans in rows)
    return Picture(drawing.address_of(svg), _("When it was, along the days. %(said)s.") % {"said": said})


def _one_day(day: date) -> tuple[date, date]:
    return day, day


def _proved() -> tuple[tuple[str, ...], str]:
    """Return what a pack proves and what it does not, and how to verify it."""
    notes = (
        _("It shows that no file was changed since this box signed the list of files, that the entries belong to the log of the size named, and which key signed."),
        _("It does not prove that a reading was true, that what was done was right, or that something was entered at all: see the gaps."),
        _("It does not prove that the key is the facility's own: compare its fingerprint with the one on the wall sheet and in earlier packs."),
        _("It does not say that a code is met. The local codes and those who enforce them decide."),
    )  # fmt: skip
    how = _(
        "Open verify.html from the unpacked pack in a browser, without a network, and give it the pack; or run python3 verify.py there. Compare these digits."
    )
    return notes, how


def _digests() -> tuple[tuple[str, str], ...]:
    """Return the fingerprints of the keys in use and the digests of both verifiers."""
    keys = SigningKey.objects.filter(in_use_until=None).order_by("use")
    found = [(_("key of %(use)s") % {"use": key.get_use_display()}, in_groups(key.fingerprint)) for key in keys]
    for name in VERIFIERS:
        digest = verifier_digest(name)
        found.append((name, in_groups(digest) if digest else _("not part of this release")))
    return tuple(found)


def verifier_digest(name: str) -> str:
    """Return the SHA-256 of a verifier as it goes into packs, nothing where there is none."""
    path = Path(facility.__file__).parent / "pack" / "verifier" / name
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def in_groups(digest: str) -> str:
    """Return hexadecimal digits in groups of four, as one reads them out.

    >>> in_groups("7c410e9b")
    '7C41 0E9B'
    """
    return " ".join(digest[start : start + 4] for start in range(0, len(digest), 4)).upper()
