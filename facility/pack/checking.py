"""Verifying a pack in the app: three statements, each for itself, and whether an older pack fits to it."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.conf import settings
from django.utils.translation import gettext as _

from facility.pack import building, layout
from facility.pack.unpacking import ArchiveRefusedError, Limits, unpack

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_TOLD: Final = 50
HOLDS, WRONG, NOT_CHECKED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Statement:
    """One of the things that are said of a pack. ``holds`` None: it could not be checked."""

    key: str
    holds: bool | None
    problems: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found out about a file. ``refused``: it was not even opened, for this reason."""

    statements: tuple[Statement, ...] = ()
    refused: str = ""
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
        return {"statements": told, "refused": self.refused, "about": self.about}


def from_json(content: dict[str, Any]) -> Outcome:
    """Return an outcome from a file."""
    told = tuple(
        Statement(key, holds, tuple((member, words) for member, words in problems))
        for key, holds, problems in content["statements"]
    )
    return Outcome(told, content["refused"], content["about"])


def check(path: Path, older: Path | None = None, limits: Limits | None = None) -> Outcome:
    """Verify a pack, a zip or an unpacked folder; with ``older`` also that it continues that pack.

    Errors: OSError if there is no such file.
    """
    for one in (path, older):
        if one is not None and not one.exists():
            raise FileNotFoundError(_("There is no file or folder %(path)s.") % {"path": one})
    building.folder().mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=building.UNFINISHED, dir=_room()) as place:
        try:
            folder = _opened(path, Path(place) / "new", limits)
            if older is not None and _is_head(older):
                return Outcome((*_statements(folder), _goes_on(folder, older)), about=_about(folder))
            before = _opened(older, Path(place) / "old", limits) if older is not None else None
        except ArchiveRefusedError as error:
            return Outcome(refused=str(error))
        return _checked(folder, before)


def _is_head(path: Path) -> bool:
    """Return whether a file is a signed head by itself, as one is mailed or left on a stick."""
    if path.is_dir():
        return False
    with path.open("rb") as file:
        return file.read(len(layout.ORIGIN)) == layout.ORIGIN


def _goes_on(folder: Path, head: Path) -> Statement:
    from facility.pack.verifier import verify  # noqa: PLC0415  # a program of its own, needed only here

    told = verify.verify_folder(folder, older=head).continues
    return Statement("goes_on", told.holds, tuple((str(name), str(words)) for name, words in told.problems))


def _room() -> Path:
    return Path(settings.DATA_DIR) / building.FOLDER


def _opened(path: Path, target: Path, limits: Limits | None) -> Path:
    if path.is_dir():
        return path
    target.mkdir()
    return unpack(path, target, limits)


def _checked(folder: Path, before: Path | None) -> Outcome:
    statements = list(_statements(folder))
    if before is not None:
        statements += [Statement(f"older_{one.key}", one.holds, one.problems) for one in _statements(before)]
        statements.append(continues(folder, before))
    return Outcome(tuple(statements), about=_about(folder))


def _statements(folder: Path) -> Iterator[Statement]:
    from facility.pack.verifier import verify  # noqa: PLC0415  # a program of its own, needed only here

    told = verify.verify_folder(folder)
    for key in ("files", "events", "signature"):
        found = getattr(told, key)
        yield Statement(key, found.holds, tuple((str(name), str(words)) for name, words in found.problems[:MOST_TOLD]))


def continues(folder: Path, before: Path) -> Statement:
    """Return whether the log of a pack goes on from that of an older one, event by event."""
    problems: list[tuple[str, str]] = []
    try:
        new, old = _leaves(folder), _leaves(before)
        origins = [_origin(one) for one in (folder, before)]
    except (OSError, ValueError, IndexError) as error:
        return Statement("continues", None, ((layout.LEAVES, str(error)),))
    if origins[0] != origins[1]:
        problems.append((layout.HEAD, _("The packs come from different logs: %(new)s and %(old)s.") % {
            "new": origins[0], "old": origins[1]}))  # fmt: skip
    elif len(new) < len(old):
        problems.append((layout.LEAVES, _("The log has %(new)d events; the older pack knew %(old)d already.") % {
            "new": len(new), "old": len(old)}))  # fmt: skip
    elif new[: len(old)] != old:
        first = next(place for place, (one, other) in enumerate(zip(new, old, strict=False), 1) if one != other)
        problems.append((layout.LEAVES, _("Event %(seq)d is another than in the older pack.") % {"seq": first}))
    return Statement("continues", not problems, tuple(problems))


def _leaves(folder: Path) -> list[str]:
    return (folder / layout.LEAVES).read_text(encoding="ascii").split()


def _origin(folder: Path) -> str:
    return (folder / layout.HEAD).read_text(encoding="utf-8").splitlines()[0]


def _about(folder: Path) -> dict[str, Any]:
    """Return what the pack says of itself, as far as it can be read. It proves nothing."""
    wanted = ("number", "site_name", "from", "to", "made_at", "fingerprint", "log_size")
    try:
        told = json.loads((folder / layout.ABOUT).read_text(encoding="utf-8"))
        return {name: str(told[name])[:200] for name in wanted}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
