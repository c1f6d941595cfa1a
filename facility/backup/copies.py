"""Further copies of the newest backup: into folders that come and go, and by a command of the house.

A backup holds everything, so only the newest is worth a copy: what a stick missed for a week is in
the file that it gets when it is plugged in again. What was taken where is kept in ``copies.json``
beside the backups; that it was taken, or could not be, is an event, the second only once a file.
"""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events
from facility.backup import store
from facility.trust import copies as heads

if TYPE_CHECKING:
    from collections.abc import Callable

LIST: Final = "copies.json"
COMMAND: Final = "command"
LONGEST_S: Final = 30 * 60
TOLD_LETTERS: Final = 200
TAKEN, FAILED = "taken", "failed"


@dataclass(frozen=True, slots=True)
class Copied:
    """How one place stands: what was done there with a backup, or why nothing could be."""

    place: str
    taken: bool
    told: str


def places() -> list[str]:
    """Return where the newest backup should lie as well: folders, and the command if there is one."""
    return [*map(str, settings.BACKUP_COPIES), *([COMMAND] if settings.BACKUP_COMMAND else [])]


def known() -> dict[str, dict[str, Any]]:
    """Return what ``copies.json`` holds: by file and place the instant and what was told."""
    path = store.folder() / LIST
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def is_taken(name: str, place: str) -> bool:
    """Return whether a backup was taken to a place."""
    return TAKEN in known().get(name, {}).get(place, {})


def lacking() -> list[str]:
    """Return the places that have not got the newest backup yet."""
    newest = store.newest()
    return [place for place in places() if newest is not None and not is_taken(newest.name, place)]


def catch_up(say: Callable[[str], object], *, by: events.Actor) -> list[Copied]:
    """Take the newest backup to every place that lacks it and can be reached now."""
    newest = store.newest()
    if newest is None:
        return []
    done = []
    for place in lacking():
        say(_("Copying to %(place)s") % {"place": place})
        found = _by_command(newest) if place == COMMAND else _to_folder(newest, Path(place))
        _keep(newest, found, by=by)
        done.append(found)
    return done


def _to_folder(path: Path, target: Path) -> Copied:
    if not target.is_dir():
        return Copied(str(target), taken=False, told=_("it is not there"))
    try:
        store.copy(path, target)
        store.prune(target, of_box=path)
    except OSError as error:
        return Copied(str(target), taken=False, told=error.strerror or str(error))
    return Copied(str(target), taken=True, told=_("copied") + _head_beside(target))


def _head_beside(target: Path) -> str:
    """Leave the newest signed head of the log beside the copy, where this server does not reach it once it is unplugged."""
    try:
        path = heads.write_beside(target)
    except OSError as error:
        return _head_words("", error.strerror or str(error))
    return _head_words(path.name if path else "", "")


def _head_words(name: str, why: str) -> str:
    if why:
        return _(", without the signed head of the log: %(why)s") % {"why": why}
    return _(", with the signed head %(file)s") % {"file": name} if name else ""


def _by_command(path: Path) -> Copied:
    """Let the command of the house take the backup, and then the newest signed head of the log."""
    if why := _not_taken(path):
        return Copied(COMMAND, taken=False, told=why)
    try:
        head = _head_words(*heads.hand_over(_not_taken))
    except OSError as error:
        head = _head_words("", error.strerror or str(error))
    return Copied(COMMAND, taken=True, told=_("taken by the command") + head)


def _not_taken(path: Path) -> str:
    """Run the command with a file as its last argument, without a shell and our settings. Return why it failed, or nothing."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DEEPSTEAD_")}
    try:
        process = subprocess.Popen(  # noqa: S603 - the operator's own command
            [*shlex.split(settings.BACKUP_COMMAND), str(path)], env=kept, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, errors="replace", start_new_session=True,
        )  # fmt: skip
    except (OSError, ValueError) as error:
        return _("the command cannot be started: %(error)s") % {"error": error}
    with process:
        try:
            said = process.communicate(timeout=LONGEST_S)[1].strip().splitlines()
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            return _("the command was stopped after %(seconds)d s") % {"seconds": LONGEST_S}
    if not process.returncode:
        return ""
    return said[-1][:TOLD_LETTERS] if said else _("it ended with code %(code)d") % {"code": process.returncode}


def _keep(path: Path, found: Copied, *, by: events.Actor) -> None:
    """Note what was done; a failure is an event only the first time for this file and place."""
    content = {name: row for name, row in known().items() if (store.folder() / name).is_file()}
    row = content.setdefault(path.name, {}).setdefault(found.place, {})
    first = found.taken or FAILED not in row
    row |= {TAKEN if found.taken else FAILED: events.now().isoformat(), "told": found.told}
    unfinished = store.folder() / f"{store.UNFINISHED}{LIST}"
    unfinished.write_text(json.dumps(content, indent=1, sort_keys=True), encoding="utf-8")
    unfinished.replace(store.folder() / LIST)
    if first:
        action = "backup:copied" if found.taken else "backup:not-copied"
        after = {"file": path.name, "to": found.place, "told": found.told}
        with transaction.atomic():
            events.record(None, events.What(action, after=after), by=by)
