"""Verifying a pack in the app: three statements, each for itself, and whether an older pack fits to it."""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from django.utils.translation import gettext as _

from facility.pack import building, layout
from facility.pack.unpacking import ArchiveRefusedError, Limits, unpack

MOST_TOLD: Final = 50
FINGERPRINT: Final = re.compile(r"[0-9a-f]{64}")
HOLDS, WRONG, NOT_CHECKED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Statement:
    """One of the things that are said of a pack. ``holds`` None: it could not be checked."""

    key: str
    holds: bool | None
    problems: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found out about a file.

    ``refused``: it was not even opened, for this reason. ``fingerprint``: of the key that signed, whatever the pack says.
    ``about``: what the pack says of itself.
    """

    statements: tuple[Statement, ...] = ()
    refused: str = ""
    fingerprint: str = ""
    about: dict[str, Any] = field(default_factory=dict)

    @property
    def code(self) -> int:
        """0: every statement holds; 1: something is wrong; 2: something could not be checked."""
        if self.refused or any(one.holds is False for one in self.statements):
            return WRONG
        return NOT_CHECKED if any(one.holds is None for one in self.statements) else HOLDS

    def as_json(self) -> dict[str, Any]:
        """Return it for a file."""
        told = [[one.key, one.holds, [list(problem) for problem in one.problems]] for one in self.statements]
        return {"statements": told, "refused": self.refused, "fingerprint": self.fingerprint, "about": self.about}


def from_json(content: dict[str, Any]) -> Outcome:
    """Return an outcome from a file."""
    told = tuple(
        Statement(key, holds, tuple((member, words) for member, words in problems))
        for key, holds, problems in content["statements"]
    )
    return Outcome(told, content["refused"], content["fingerprint"], content["about"])


def fingerprint_of(text: str) -> str:
    """Return a fingerprint as it was typed, without gaps and in small letters; nothing for nothing.

    Errors: ValueError for what is none.
    """
    found = "".join(text.lower().split())
    if found and not FINGERPRINT.fullmatch(found):
        raise ValueError(
            _("A fingerprint is 64 digits and letters a to f; “%(text)s” has %(count)d characters.")
            % {"text": text[:80], "count": len(found)}
        )
    return found


def check(path: Path, older: Path | None = None, limits: Limits | None = None, pin: str = "") -> Outcome:
    """Verify a pack, a zip or an unpacked folder; with ``older`` also that it continues that pack or signed head.

    ``pin``: fingerprint of the key that must have signed, or passed on to the one that did.
    Errors: OSError if there is no such file.
    """
    for one in (path, older):
        if one is not None and not one.exists():
            raise FileNotFoundError(_("There is no file or folder %(path)s.") % {"path": one})
    building.folder().mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=building.UNFINISHED, dir=building.folder()) as place:
        try:
            folder = _opened(path, Path(place) / "new", limits)
        except ArchiveRefusedError as error:
            return Outcome(refused=str(error))
        if older is None or _is_head(older):
            return verified(folder, older, pin)
        try:
            before = _opened(older, Path(place) / "old", limits)
        except ArchiveRefusedError as error:
            found = verified(folder, None, pin)
            unread = Statement("continues", None, ((older.name, str(error)),))
            return replace(found, statements=(*found.statements, unread))
        return verified(folder, before, pin)


def _is_head(path: Path) -> bool:
    """Return whether a file is a signed head by itself, as one is mailed or left on a stick."""
    if path.is_dir():
        return False
    with path.open("rb") as file:
        return file.read(len(layout.ORIGIN)) == layout.ORIGIN


def _opened(path: Path, target: Path, limits: Limits | None) -> Path:
    if path.is_dir():
        return path
    target.mkdir()
    return unpack(path, target, limits)


def verified(folder: Path, before: Path | None = None, pin: str = "") -> Outcome:
    """Return what the program in every pack says of an unpacked one. ``before``: an older one, or a signed head alone."""
    from facility.pack.verifier import verify  # noqa: PLC0415  # a program of its own, needed only here

    report = verify.verify_folder(folder, pin, before)
    found = _three(report)
    if before is not None:
        if before.is_dir():
            found += [replace(one, key=f"older_{one.key}") for one in _three(verify.verify_folder(before))]
        continues = _statement("continues", report.continues)
        found.append(replace(continues, problems=continues.problems + _first_other(folder, before)))
    return Outcome(tuple(found), fingerprint=report.fingerprint, about=_about(folder))


def _three(report: Any) -> list[Statement]:
    return [_statement(key, getattr(report, key)) for key in ("files", "events", "signature")]


def _statement(key: str, told: Any) -> Statement:
    return Statement(key, told.holds, tuple(told.problems[:MOST_TOLD]))


def _first_other(folder: Path, before: Path) -> tuple[tuple[str, str], ...]:
    """Name the first event that is another than in an older pack, where both can be read."""
    try:
        pairs = zip(_leaves(folder), _leaves(before), strict=False)
    except (OSError, ValueError):
        return ()
    first = next((seq for seq, (one, other) in enumerate(pairs, 1) if one != other), None)
    return ((layout.LEAVES, _("Event %(seq)d is another than in the older pack.") % {"seq": first}),) if first else ()


def _leaves(folder: Path) -> list[str]:
    return (folder / layout.LEAVES).read_text(encoding="ascii").split()


def _about(folder: Path) -> dict[str, Any]:
    """Return what the pack says of itself, as far as it can be read. It proves nothing."""
    wanted = ("number", "site_name", "from", "to", "made_at")
    try:
        told = json.loads((folder / layout.ABOUT).read_text(encoding="utf-8"))
        return {name: _whole_letters(str(told[name])[:200]) for name in wanted}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}


def _whole_letters(text: str) -> str:
    r"""Return a text with a question mark for each half character, which no page can show.

    >>> _whole_letters("Skerrow \ud800")
    'Skerrow ?'
    """
    return text.encode(errors="replace").decode()
