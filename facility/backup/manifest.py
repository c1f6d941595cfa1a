"""What a backup says of itself: the last member of the archive, as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any, Final

from django.utils.translation import gettext as _

from facility.backup.faults import BackupError

NAME: Final = "manifest.json"
SETTINGS: Final = "settings.json"
FORMAT: Final = 1


@dataclass(frozen=True, slots=True)
class Manifest:
    """The content of a backup.

    ``tables`` in the order in which they are put back; ``counts`` rows by table; ``sha256`` by
    member; ``faults`` what was wrong with the log already when the backup was made, and ``missing``
    the evidence files that were missing or damaged then.
    """

    made_at: str
    version: str
    database: str
    demo: bool
    migrations: list[list[str]]
    events: int
    head: str
    tables: list[str]
    counts: dict[str, int]
    sha256: dict[str, str]
    faults: list[str]
    missing: list[str]
    format: int = FORMAT

    def text(self) -> str:
        """Return the manifest as it is stored."""
        return json.dumps(asdict(self), indent=1, ensure_ascii=False, sort_keys=True)


def member_of(table: str) -> str:
    """Return the name of the member that holds a table."""
    return f"tables/{table}.jsonl"


def parse(text: bytes) -> Manifest:
    """Return the manifest. Errors: BackupError for a format of a newer version, or none of ours."""
    try:
        content: dict[str, Any] = json.loads(text)
        if content["format"] == FORMAT:
            return Manifest(**content)
    except (ValueError, KeyError, TypeError) as error:
        raise BackupError(_("The manifest of the backup cannot be read: %(error)s.") % {"error": error}) from error
    raise BackupError(
        _(
            "The backup has format %(found)s, this version reads format %(known)d. It was made by version %(version)s: use it."
        )
        % {"found": content["format"], "known": FORMAT, "version": content.get("version", "?")}
    )
