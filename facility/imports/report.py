"""What an import did or would do, row by row: the report, as text and as plain data."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

LONGEST_SHOWN = 80
TAKEN, REFUSED, UNREADABLE = 0, 1, 2


def shown(value: str) -> str:
    """Return a cell as the report prints it: in quotes, shortened, without control characters.

    The quotes also keep a cell such as ``=1+1`` from being a formula when the report is pasted elsewhere.
    """
    clean = "".join(
        letter if unicodedata.category(letter)[0] != "C" else "\N{REPLACEMENT CHARACTER}" for letter in value
    )
    return f"“{clean[:LONGEST_SHOWN]}{'…' if len(clean) > LONGEST_SHOWN else ''}”"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that cannot be taken: where, which value, what is allowed, what to do."""

    file: str
    line: int
    column: str
    value: str
    what: str
    allowed: str = ""
    advice: str = ""

    def sentence(self) -> str:
        """Return the problem without its place, as one line."""
        parts = [f"{shown(self.value)}: {self.what}." if self.value else f"{self.what}."]
        if self.allowed:
            parts.append(_("Allowed: %(what)s.") % {"what": self.allowed})
        if self.advice:
            parts.append(self.advice)
        return " ".join(parts)

    def place(self) -> str:
        """Return where it stands."""
        return _("%(file)s, line %(line)s, %(column)s") % {
            "file": self.file, "line": self.line, "column": self.column or _("whole line"),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Correction:
    """One stored value that a file changes."""

    file: str
    line: int
    column: str
    old: str
    new: str

    def sentence(self) -> str:
        """Return what changes, as one line."""
        return _("%(file)s, line %(line)s, %(column)s: %(old)s becomes %(new)s") % {
            "file": self.file, "line": self.line, "column": self.column, "old": shown(self.old), "new": shown(self.new),
        }  # fmt: skip


@dataclass(slots=True)
class Count:
    """What became of the rows of one file."""

    file: str
    added: int = 0
    corrected: int = 0
    unchanged: int = 0
    left: int = 0
    refused: int = 0


@dataclass(slots=True)
class Report:
    """Everything an import has to say."""

    dry_run: bool = False
    taken: bool = False
    unreadable: bool = False
    stopped: str = ""
    counts: dict[str, Count] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    corrections: list[Correction] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def count(self, file: str) -> Count:
        """Return the counts of one file."""
        return self.counts.setdefault(file, Count(file))

    @property
    def exit_code(self) -> int:
        """0 taken (or would be), 1 rows refused, 2 cannot be read."""
        if self.unreadable:
            return UNREADABLE
        return REFUSED if self.problems or self.stopped else TAKEN

    @property
    def changes(self) -> int:
        """How many rows are added or corrected."""
        return sum(count.added + count.corrected for count in self.counts.values())

    def headline(self) -> str:
        """Return in one sentence what happened."""
        if self.stopped:
            return _("Nothing was taken: %(why)s") % {"why": self.stopped}
        if self.unreadable:
            return _("Nothing was taken: the files cannot be read.")
        if self.dry_run:
            return _("Dry run: nothing was stored.")
        if not self.taken:
            return _("Nothing was taken: rows were refused. Correct them and import again.")
        if self.problems:
            return _("The good rows were taken; the refused rows were not.")
        return _("All rows were taken.") if self.changes else _("Nothing changed: all of this is already stored.")

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain data."""
        return {
            "headline": self.headline(),
            "exit_code": self.exit_code,
            "dry_run": self.dry_run,
            "taken": self.taken,
            "files": [
                {name: getattr(count, name) for name in ("file", "added", "corrected", "unchanged", "left", "refused")}
                for count in self.counts.values()
            ],
            "refused": [
                {
                    name: getattr(problem, name)
                    for name in ("file", "line", "column", "value", "what", "allowed", "advice")
                }
                for problem in self.problems
            ],
            "corrections": [
                {name: getattr(one, name) for name in ("file", "line", "column", "old", "new")}
                for one in self.corrections
            ],
            "notes": self.notes,
            "missing_for_an_answer": self.missing,
        }

    def as_text(self) -> str:
        """Return the report for a terminal."""
        lines = [self.headline()]
        if self.counts:
            head = (_("file"), _("added"), _("corrected"), _("unchanged"), _("left"), _("refused"))
            lines += ["", "{:<26}{:>8}{:>11}{:>11}{:>6}{:>9}".format(*head)]
        for count in self.counts.values():
            numbers = (count.added, count.corrected, count.unchanged, count.left, count.refused)
            lines.append("{:<26}{:>8}{:>11}{:>11}{:>6}{:>9}".format(count.file, *numbers))
        lines += _section(_("Refused"), [f"{problem.place()}: {problem.sentence()}" for problem in self.problems])
        lines += _section(_("Corrected"), [one.sentence() for one in self.corrections])
        lines += _section(_("Notes"), self.notes)
        lines += _section(_("Missing for an answer"), self.missing)
        return "\n".join(lines)


def from_json(told: dict[str, Any]) -> Report:
    """Return the report that ``as_json`` told; ``stopped`` may be told beside it."""
    return Report(
        dry_run=told["dry_run"],
        taken=told["taken"],
        unreadable=told["exit_code"] == UNREADABLE,
        stopped=told.get("stopped", ""),
        counts={one["file"]: Count(**one) for one in told["files"]},
        problems=[Problem(**one) for one in told["refused"]],
        corrections=[Correction(**one) for one in told["corrections"]],
        notes=told["notes"],
        missing=told["missing_for_an_answer"],
    )


def _section(title: str, lines: list[str]) -> list[str]:
    return ["", f"{title} ({len(lines)})", *(f"  {line}" for line in lines)] if lines else []
