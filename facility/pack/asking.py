"""How often somebody without an account may ask: few times an hour, by a mark that stands for the address."""

from __future__ import annotations

import secrets
from datetime import timedelta
from typing import Final

from django.utils.translation import gettext as _

from facility import events
from facility.pack import building, uploads

FILE: Final = ".codes-asked"
HOUR_S: Final = timedelta(hours=1).total_seconds()
MOST_AN_HOUR, MOST_OF_ONE = 120, 20


class TooManyError(ValueError):
    """More codes in an hour than are compared."""


def refuse_many(address: str) -> None:
    """Count one question. Errors: TooManyError for more than 20 of one address, or 120 of all, within an hour."""
    at, sender = events.now().timestamp(), uploads.sender(address)
    path = building.folder() / FILE
    recent = [
        line
        for line in _lines(path.read_text(encoding="ascii") if path.is_file() else "")
        if float(line[0]) > at - HOUR_S
    ]
    if len(recent) >= MOST_AN_HOUR or sum(who == sender for _when, who in recent) >= MOST_OF_ONE:
        raise TooManyError(_("Too many codes were compared within the hour. Nothing is lost: try again later."))
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f"{FILE}-{secrets.token_hex(6)}")
    unfinished.write_text(
        "".join(f"{when} {who}\n" for when, who in [*recent, (f"{at:.0f}", sender)]), encoding="ascii"
    )
    unfinished.replace(path)


def _lines(text: str) -> list[tuple[str, str]]:
    return [(when, who) for when, _gap, who in (line.partition(" ") for line in text.splitlines())]
