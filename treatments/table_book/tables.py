"""Which treatment tables a site has: shipped ones and its own, each with its standing.

A table is logged and compared against. Nothing here chooses a table or advises one.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from treatments.compute.table_parts import as_parts
from treatments.compute.tables import Table, read_table
from treatments.models import SiteTable, TableConfirmation
from treatments.reference import FILES, fractions, table_values
from treatments.reference import table as shipped

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from facility.models import Site
    from treatments.models import Run

LABEL = b"deepstead table 1\0"
PEOPLE_NEEDED = 2


class TableStanding(StrEnum):
    """How far the values of a table may be relied on at a site."""

    CONFIRMED = "confirmed"
    UNCONFIRMED = "unconfirmed"
    SITE = "site"


class NoSuchTableError(LookupError):
    """A key that is no table of the site: the key, and the keys there are."""

    def __init__(self, key: str, known: Iterable[str]) -> None:
        words = _("“%(key)s” is no treatment table here. There are: %(known)s.")
        super().__init__(words % {"key": key, "known": ", ".join(known)})
        self.key = key


@dataclass(frozen=True, slots=True)
class TableInForce:
    """A table as it counts at a site today. ``version`` 0: as shipped. ``parts``: as read_table() takes them."""

    table: Table
    parts: dict[str, Any]
    version: int
    standing: TableStanding
    digest: str


def digest_of(parts: Mapping[str, Any]) -> str:
    """Return the SHA-256 over the values of a table, as hexadecimal digits."""
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(LABEL + text.encode()).hexdigest()


def table_for(site: Site, key: str) -> TableInForce:
    """Return the table of this key that counts at a site.

    Errors: NoSuchTableError naming the keys there are; TableError for a stored table that makes no sense.
    """
    if key in FILES:
        return _shipped(key, confirmations(site))
    own = own_in_force(site).get(key)
    if own is None:
        raise NoSuchTableError(key, known_keys(site))
    return as_in_force(own)


def all_tables(site: Site) -> list[TableInForce]:
    """Return every table that counts at a site: shipped ones in their order, then its own by key."""
    confirmed = confirmations(site)
    own = own_in_force(site)
    return [_shipped(key, confirmed) for key in FILES] + [as_in_force(own[key]) for key in sorted(own)]


def known_keys(site: Site) -> list[str]:
    """Return the keys of all tables that count at a site."""
    return [*FILES, *sorted(own_in_force(site))]


def own_in_force(site: Site) -> dict[str, SiteTable]:
    """Return the site's own tables in force by key."""
    rows = SiteTable.objects.filter(site=site, retired_at=None, approved_at__isnull=False)
    return {row.key: row for row in rows}


def as_in_force(row: SiteTable) -> TableInForce:
    """Return a version of a site's own table, read from what is stored."""
    table = read_table(row.key, row.parts, fractions())
    parts = as_parts(table)
    return TableInForce(table, parts, row.version, TableStanding.SITE, digest_of(parts))


def table_of_run(run: Run) -> Table | None:
    """Return the table that a run was opened with, as on that day; None for a run without one."""
    return read_table(run.table_key, run.table, fractions()) if run.table else None


def confirmations(site: Site) -> dict[tuple[str, str], list[TableConfirmation]]:
    """Return who compared which table with a printed handbook, by key and digest of its values."""
    found: dict[tuple[str, str], list[TableConfirmation]] = defaultdict(list)
    for row in TableConfirmation.objects.filter(site=site, retired_at=None).order_by("id"):
        found[row.table, row.digest].append(row)
    return found


def is_confirmed(rows: Iterable[TableConfirmation]) -> bool:
    """Whether two different people, by account and by name, compared a table."""
    known = list(rows)
    accounts = {row.compared_user for row in known}
    names = {row.compared_by.casefold() for row in known}
    return min(len(accounts), len(names)) >= PEOPLE_NEEDED


def _shipped(key: str, confirmed: Mapping[tuple[str, str], list[TableConfirmation]]) -> TableInForce:
    table = shipped(key)
    parts = as_parts(table)
    digest = digest_of(parts)
    known = all(one.confirmed for one in table_values(key).values())
    sure = known or is_confirmed(confirmed.get((key, digest), ()))
    return TableInForce(table, parts, 0, TableStanding.CONFIRMED if sure else TableStanding.UNCONFIRMED, digest)
