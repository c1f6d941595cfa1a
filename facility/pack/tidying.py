"""What packs leave behind and nobody needs any more: sealed volumes that newer ones replaced, files sent to be verified."""

from __future__ import annotations

import json
import time
import zipfile
from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from django.db import transaction

from facility import events
from facility.counted import counted
from facility.events import What
from facility.models import Pack, PackState, Volume
from facility.pack import building, layout, uploads
from facility.report import store

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from pathlib import Path

#: how long a volume is kept after a newer one took its place, and a file after it was written
KEPT: Final = timedelta(days=30)
LEFT: Final = timedelta(days=1)
BY: Final = events.system("tidy")


def tidy() -> str:
    """Remove replaced volumes that no pack names, and what was sent to be verified long ago; say what went."""
    sent = counted(uploads.tidy(), "file", "files")
    if Pack.objects.filter(state=PackState.ASKED).exists():
        return f"Removed {sent} sent to be verified; volumes wait until no pack is being built."
    rows, files = _volumes(events.now())
    return (
        f"Removed {sent} sent to be verified, {counted(rows, 'volume', 'volumes')} that newer ones replaced,"
        f" {counted(files, 'file', 'files')} of no use."
    )


def _volumes(now: datetime) -> tuple[int, int]:
    named, from_when = _named()
    spared = {digest for digest in named if digest}
    gone = _replaced(now, spared, from_when)
    for site, rows in gone.items():
        _forget(site, rows)
    return sum(map(len, gone.values())), _unknown_files(
        spared | set(Volume.objects.values_list("file_sha256", flat=True))
    )


def _named() -> tuple[set[str], dict[int, datetime]]:
    """Return the volumes that packs name; and by site the newest moment of a pack that does not lie here to be asked."""
    named: set[str] = set()
    unknown: dict[int, datetime] = {}
    for pack in Pack.objects.filter(state=PackState.BUILT).select_related("site").order_by("built_at"):
        told = _told(building.path_of(pack))
        if told is None and pack.built_at is not None:
            unknown[pack.site_id] = pack.built_at
        named |= {one["sha256"] for one in told or []}
    return named, unknown


def _told(path: Path) -> list[dict[str, Any]] | None:
    """Return the volumes that a pack says it has, None if it cannot be asked."""
    try:
        with zipfile.ZipFile(path) as archive:
            content: dict[str, Any] = json.loads(archive.read(f"{archive.namelist()[0].split('/')[0]}/{layout.ABOUT}"))
            return list(content["report"])
    except (OSError, zipfile.BadZipFile, KeyError, ValueError, IndexError):
        return None


def _replaced(now: datetime, spared: set[str], from_when: dict[int, datetime]) -> dict[Any, list[Volume]]:
    """Return by site the volumes in whose place a newer one has stood for the time that they are kept."""
    newest: dict[tuple[int, str, str], datetime] = {}
    gone: dict[Any, list[Volume]] = defaultdict(list)
    for row in Volume.objects.select_related("site").order_by("-sealed_at", "-pk"):
        sort = (row.site_id, row.name, row.month)
        replaced_at = newest.get(sort)
        newest[sort] = row.sealed_at
        asked = from_when.get(row.site_id)
        may_be_named = row.file_sha256 in spared or (asked is not None and row.sealed_at <= asked)
        if replaced_at is not None and replaced_at <= now - KEPT and not may_be_named:
            gone[row.site].append(row)
    return gone


@transaction.atomic
def _forget(site: Any, rows: list[Volume]) -> None:
    """Remove volumes of a site, their rows first: a file without a row is of no use, a row without its file is made anew."""
    Volume.objects.filter(pk__in=[row.pk for row in rows]).delete()
    after = {"volumes": str(len(rows)), "bytes": str(sum(row.size_bytes for row in rows)), "sha256": _digits(rows)}
    events.record(site, What("replaced volumes removed", after=after, site_key=site.key), by=BY)


def _digits(rows: Iterable[Volume]) -> str:
    return " ".join(sorted(row.file_sha256[:16] for row in rows))


def _unknown_files(known: set[str]) -> int:
    """Remove files that neither a row nor a pack names: summaries of packs built before, what a killed build left."""
    place = store.folder()
    if not place.is_dir():
        return 0
    too_new = time.time() - LEFT.total_seconds()
    old = [one for one in place.iterdir() if one.is_file() and one.stem not in known and one.stat().st_mtime < too_new]
    for one in old:
        one.unlink(missing_ok=True)
    return len(old)
