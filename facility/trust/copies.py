"""Heads of the log where the server cannot reach them: by mail, on a stick, as a short code on paper."""

from __future__ import annotations

import logging
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from smtplib import SMTPException
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils.translation import gettext as _

from facility import events
from facility.counted import counted
from facility.models import Checkpoint
from facility.trust import checkpoints, faults, keys, looking

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_LOOKED_AT: Final = 2000
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Taken:
    """A copy of a head of ``size`` events. ``where``: "mail", "folder" or "command"; ``place``: to whom, or which folder."""

    where: str
    place: str
    at: datetime
    size: int


def run(why: str) -> str:
    """Make a head for a reason; without one, as at night, look at all earlier ones first and mail the new one.

    Return one sentence on what was done.
    """
    if why:
        return _asked(why)
    row, found = looking.nightly()
    if row is None:
        return _none(found)
    return f"{_made(row)} {mail(row)}".strip()


def _asked(why: str) -> str:
    """Make a head, or let what speaks against it stand on every page; asking again would change nothing."""
    try:
        return _made(checkpoints.make(why))
    except (checkpoints.ContradictionError, keys.KeyFaultError):
        return _none(faults.standing() or looking.check_start())


def _none(found: list[str]) -> str:
    return _("No head was signed. %(found)s") % {"found": " ".join(found)}


def _made(row: Checkpoint) -> str:
    return _("Checkpoint of %(events)s: %(code)s.") % {
        "events": counted(row.size, "event", "events"), "code": checkpoints.short_code(bytes(row.root)),
    }  # fmt: skip


def mail(row: Checkpoint) -> str:
    """Send a head to the people named in the settings. Return one sentence, or nothing if nobody is named.

    A mail that cannot be sent stops nothing: the next night sends the next head.
    """
    people = list(settings.CHECKPOINT_MAIL)
    if not people or any(one.get("where") == "mail" for one in row.copied):
        return ""
    if not settings.EMAIL_HOST:
        return _("It could not be mailed: name a mail server in DEEPSTEAD_EMAIL_HOST.")
    message = EmailMessage(
        subject=_("Checkpoint %(size)d of %(log)s") % {"size": row.size, "log": row.note.split("\n", 1)[0]},
        body=_letter(row),
        to=people,
        attachments=[(file_name(row), row.note.encode(), "text/plain")],
    )
    try:
        message.send()
    except (OSError, SMTPException) as error:
        log.warning("The head %s could not be mailed: %s", row.size, error)
        return _("It could not be mailed: %(error)s") % {"error": error}
    _copied(row, "mail", ", ".join(people))
    return _("Mailed to %(people)s.") % {"people": counted(len(people), "person", "people")}


def _letter(row: Checkpoint) -> str:
    words = _(
        "Keep this message: it is the signed head of the log of records, and tells later whether the log was changed."
        " It tells of no record's content. To compare: manage.py check_records --checkpoint FILE"
    )
    return f"{words}\n\n{checkpoints.short_code(bytes(row.root))}\n\n{row.note}"


def file_name(row: Checkpoint) -> str:
    """Return the name of a head as a file."""
    return f"checkpoint-{row.size}.note"


def write_beside(folder: Path) -> Path | None:
    """Write the newest head into a folder, such as a stick that takes a backup; None if there is no head yet.

    Errors: OSError if the folder cannot be written.
    """
    row = checkpoints.newest()
    if row is None:
        return None
    path = _written(row, folder)
    _copied(row, "folder", str(folder))
    return path


def hand_over(take: Callable[[Path], str]) -> tuple[str, str]:
    """Give the newest head as a file to what takes it elsewhere. Return the file's name, and why it was not taken.

    ``take`` answers with nothing if all went well. Both are empty if there is no head yet.
    Errors: OSError if no scratch file can be written.
    """
    row = checkpoints.newest()
    if row is None:
        return "", ""
    with tempfile.TemporaryDirectory() as folder:
        path = _written(row, Path(folder))
        why = take(path)
    if not why:
        _copied(row, "command", "")
    return path.name, why


def _written(row: Checkpoint, folder: Path) -> Path:
    """Return the file of a head in a folder, written unless it is there.

    A file of its name with other words stays as it is, beside the new one: it is another box's, or what a changed log
    is found out by.
    """
    path, number = folder / file_name(row), 1
    while True:
        try:
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(row.note)
        except FileExistsError:
            if path.read_bytes() != row.note.encode():
                number += 1
                path = folder / f"checkpoint-{row.size}-{number}.note"
                continue
        return path


def newest_by_place() -> list[Taken]:
    """Return the newest copy outside the server in each place where one ever went, the places by name."""
    rows = Checkpoint.objects.order_by("-size", "-pk").values_list("size", "copied")[:MOST_LOOKED_AT]
    found: dict[tuple[str, str], Taken] = {}
    for size, copied in rows:
        for one in copied:
            taken = Taken(one["where"], one["place"], datetime.fromisoformat(one["at"]), size)
            found.setdefault((taken.where, taken.place), taken)
    return [found[name] for name in sorted(found)]


def _copied(row: Checkpoint, where: str, place: str) -> None:
    told = {"where": where, "place": place[:200]}
    if not any({name: one.get(name) for name in told} == told for one in row.copied):
        row.copied = [*row.copied, told | {"at": events.now().isoformat()}]
        row.save(update_fields=["copied"])
