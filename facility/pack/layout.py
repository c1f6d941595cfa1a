"""Where things lie in a pack, and the names that the server gives them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from datetime import date

DATA: Final = "data"
TABLES: Final = "data/tables"
ATTACHMENTS: Final = "data/attachments"
EVENTS: Final = "data/events.jsonl"
LEAVES: Final = "data/leaves.txt"
HEAD: Final = "data/checkpoint.note"
KEYS: Final = "data/keys.json"
ABOUT: Final = "data/pack.json"
DUE: Final = "data/due.ics"
README: Final = "data/README.txt"
COLUMNS: Final = "data/tables/columns.csv"
RELEASED: Final = "data/released.jsonl"
BAGIT: Final = "bagit.txt"
BAG_INFO: Final = "bag-info.txt"
MANIFEST: Final = "manifest-sha256.txt"
TAG_MANIFEST: Final = "tagmanifest-sha256.txt"
SIGNATURE: Final = "tagmanifest-sha256.txt.sig"
VERIFIERS: Final = ("verify.py", "verify.html")
#: what the signature of the tag manifest is for
LABEL: Final = b"deepstead pack v1"


def folder_name(number: int, from_day: date, to_day: date) -> str:
    """Return the name of a pack's folder; the zip has the same.

    >>> from datetime import date
    >>> folder_name(7, date(2026, 1, 1), date(2026, 12, 31))
    'pack-7-2026-01-01-2026-12-31'
    """
    return f"pack-{number}-{from_day.isoformat()}-{to_day.isoformat()}"


#: how the first line of a signed head of our logs begins
ORIGIN: Final = b"deepstead/"
