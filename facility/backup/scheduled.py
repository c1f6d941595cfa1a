"""The scheduled backup: made, copied to the other places that are there, old ones removed."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.utils.translation import gettext as _

from facility import events
from facility.backup import copies, keys, making, store, trial
from facility.counted import counted
from facility.jobs.queue import Kind, enqueue

if TYPE_CHECKING:
    from collections.abc import Callable

AGAIN_AFTER: Final = timedelta(minutes=30)
BY: Final = events.system("backup")


def run(say: Callable[[str], object] = making.silent) -> str:
    """Make today's backup, copy it, prune, and return one sentence on what was done."""
    made = making.make(store.folder(), keys.made_in(settings.DATA_DIR), by=BY, say=say)
    told = [
        _("Made %(file)s with %(events)s.")
        % {
            "file": made.path.name,
            "events": counted(made.manifest.events, "event", "events"),
        }
    ]
    told += _copied(say, number=0)
    told.append(_("Removed %(old)s.") % {"old": counted(store.prune(store.folder()), "old one", "old ones")})
    if made.manifest.missing:
        told.append(_("Evidence files missing or damaged: %(count)d.") % {"count": len(made.manifest.missing)})
    if made.manifest.faults:
        told.append(_("The record check found: %(what)s") % {"what": made.manifest.faults[0]})
    return " ".join(told)


def copy_again(file: str, number: int, say: Callable[[str], object] = making.silent) -> str:
    """Try once more to take a backup where it could not be taken, unless a newer one has come."""
    newest = store.newest()
    if newest is None or newest.name != file:
        return _("A newer backup has come; its own copies count.")
    return " ".join(_copied(say, number=number)) or _("Every place has it already.")


def _copied(say: Callable[[str], object], *, number: int) -> list[str]:
    """Copy, and let what is lacking be tried again after a while. Return sentences."""
    told = []
    for one in copies.catch_up(say, by=BY):
        words = _("Copied to %(place)s.") if one.taken else _("No copy in %(place)s: %(why)s.")
        told.append(words % {"place": one.place, "why": one.told})
    newest = store.newest()
    if newest is not None and copies.lacking():
        arguments = {"file": newest.name, "number": number + 1}
        key = f"{Kind.COPY_BACKUP}:{newest.name}:{number + 1}"
        enqueue(Kind.COPY_BACKUP, arguments, due_at=events.now() + AGAIN_AFTER, once_key=key)
    return told


def try_newest(say: Callable[[str], object] = making.silent) -> str:
    """Try whether the newest backup can be put back, and say how it ended; the signed result is an event."""
    newest = store.newest()
    if newest is None:
        return _("There is no backup to try yet.")
    found = trial.tried(newest, keys.made_in(settings.DATA_DIR), by=events.system("restore"), say=say)
    words = _("%(file)s can be put back: %(told)s") if found.well else _("The trial of %(file)s FAILED: %(told)s")
    return words % {"file": newest.name, "told": found.told}
