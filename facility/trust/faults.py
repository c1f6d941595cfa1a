"""What contradicts a signed head, in words; and that it stands on every page until a look finds nothing more.

It is kept in a file beside the database, so that pages ask for it without a query and a database that was put back
cannot hide it.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _

from facility.counted import counted
from facility.trust import keyfiles

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

FILE: Final = "log-fault.json"


def shorter(size: int, noted: int, when: datetime | None = None) -> str:
    """Say that the end of the log is missing."""
    words = _("The log is shorter than checkpoint %(noted)d: it holds %(events)s. Its end was cut off, or an older copy was put back.") % {
        "noted": noted, "events": counted(size, "event", "events"),
    }  # fmt: skip
    return words + (_(" The checkpoint was made on %(day)s.") % {"day": f"{when:%Y-%m-%d %H:%M} UTC"} if when else "")


def other_root(noted: int) -> str:
    """Say that something up to a head is not what it was."""
    return _("The first %(noted)d events are not those of checkpoint %(noted)d: the log was changed or built anew.") % {
        "noted": noted
    }


def not_signed(noted: int) -> str:
    """Say that a note is not by a key of this box."""
    return _("Checkpoint %(noted)d is not signed by a key on record here.") % {"noted": noted}


def file_unreadable(path: Path, error: Exception) -> str:
    """Say that a file with a note is damaged."""
    return _("%(file)s cannot be read: %(error)s") % {"file": path, "error": error}


def unreadable(noted: int, error: Exception) -> str:
    """Say that a note is damaged."""
    return _("Checkpoint %(noted)d cannot be read: %(error)s") % {"noted": noted, "error": error}


def stand(found: list[str]) -> None:
    """Let these faults stand on every page; none takes them away."""
    if found:
        keyfiles.write(FILE, json.dumps(found).encode())
    else:
        keyfiles.path_of(FILE).unlink(missing_ok=True)


def standing() -> list[str]:
    """Return the faults that stand; one look at the folder, no query."""
    try:
        told = json.loads(keyfiles.path_of(FILE).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return []
    except (OSError, ValueError):
        return [_("The last look at the log found a fault; what it was cannot be read any more.")]
    return [str(one) for one in told]
