"""Names that hold in one pack alone: P-001, P-002 ... for patients and for guests in a run, by a keyed order.

The key is drawn for the pack and stays in the app, so nobody can tell from two packs whether two names are one person.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Q

from facility.pack import fields, rows
from treatments.models import RunPlace, RunRole

if TYPE_CHECKING:
    from datetime import date

    from django.db.models import QuerySet

    from facility.models import Pack
    from facility.pack.scope import Scope

KEY_BYTES: Final = 32
#: first age of each band; wide enough that an age is no birth date (common practice, no source)
BANDS: Final = (0, 18, 40, 65)


@dataclass(frozen=True, slots=True)
class Hidden:
    """Somebody in a run who has a name of this pack, and the band of their age that day."""

    name: str
    age_band: str


@dataclass(slots=True)
class Names:
    """Who is hidden behind which name, by the place in a run."""

    by_place: dict[int, Hidden] = field(default_factory=dict)

    def of(self, place: int | None) -> Hidden | None:
        """Return the name of a place in a run, or nothing for one of the crew."""
        return None if place is None else self.by_place.get(place)


def age_band(born_on: date | None, on: date) -> str:
    """Return the band of ages in which somebody was on a day, such as ``40-64``; nothing if it is not known."""
    if born_on is None:
        return ""
    age = on.year - born_on.year - ((on.month, on.day) < (born_on.month, born_on.day))
    first = max((band for band in BANDS if band <= age), default=BANDS[0])
    following = [band for band in BANDS if band > first]
    return f"{first}-{following[0] - 1}" if following else f"{first}+"


def name_keys(key: str, people: set[str]) -> dict[str, str]:
    """Return the name of each person, numbered by the keyed order of their text."""

    def place(person: str) -> bytes:
        return hmac.digest(bytes.fromhex(key), person.encode(), hashlib.sha256)

    return {person: f"P-{number:03}" for number, person in enumerate(sorted(people, key=place), 1)}


def names_in(pack: Pack, scope: Scope, using: str) -> Names:
    """Return the names of this pack, and keep on its row who is behind them. The row is not stored here."""
    found = list(_hidden_places(scope, using))
    kept: dict[str, Any] = pack.pseudonyms or {"key": secrets.token_hex(KEY_BYTES)}
    kept["names"] = name_keys(kept["key"], {_person(row) for row in found})
    pack.pseudonyms = kept
    names = Names()
    for row in found:
        at = row["run__started_at"] or row["run__opened_at"]
        band = age_band(row["patient__born_on"], at.date()) if at else ""
        names.by_place[row["pk"]] = Hidden(kept["names"][_person(row)], band)
    return names


def _person(row: dict[str, Any]) -> str:
    return f"patient:{row['patient']}" if row["patient"] else f"place:{row['pk']}"


def _hidden_places(scope: Scope, using: str) -> QuerySet[Any, dict[str, Any]]:
    """Every patient of a run, and whoever else went under pressure without being of the crew."""
    table = fields.by_label()[RunPlace._meta.label_lower]
    hidden = rows.rows_of(table, scope, using).filter(Q(role=RunRole.PATIENT) | Q(inside=True, person=None))
    return hidden.values("pk", "patient", "patient__born_on", "run__started_at", "run__opened_at")
