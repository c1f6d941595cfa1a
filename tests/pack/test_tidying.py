"""What may go: volumes that newer ones replaced and no pack names, and files that nobody knows. Nothing a pack names."""

from __future__ import annotations

import hashlib
import json
import os
import time
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from facility import events
from facility.models import Event, Pack, PackState, Volume
from facility.pack import building, tidying
from facility.report import store
from tests import make
from tests.pack.kit import asked

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("folder")]
LONG_AGO = timedelta(days=90)


def _volume(site: Site, text: str, *, days_ago: int, month: str = "2026-02") -> Volume:
    """Store a volume of February as it was sealed so many days ago."""
    placed = store.put(text.encode(), 1)
    long_ago = time.time() - LONG_AGO.total_seconds()
    os.utime(placed.path, (long_ago, long_ago))
    return Volume.objects.create(
        inputs_sha256=hashlib.sha256(f"of {text}".encode()).hexdigest(), site=site, name="report-4-month", month=month,
        file_sha256=placed.sha256, pages=1, size_bytes=len(text), sealed_at=events.now() - timedelta(days=days_ago),
    )  # fmt: skip


def _file_of(row: Volume) -> Path:
    return store.folder() / f"{row.file_sha256}.pdf"


def _pack(site: Site, volumes: list[Volume]) -> Pack:
    """Store a pack that names these volumes, as far as tidying reads it."""
    pack = asked(site)
    pack.state, pack.built_at = PackState.BUILT, events.now()
    pack.save()
    path = building.path_of(pack)
    path.parent.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(path, "w") as archive:
        told = {"report": [{"name": "a.pdf", "sha256": one.file_sha256, "pages": 1} for one in volumes]}
        archive.writestr(f"{path.stem}/data/pack.json", json.dumps(told))
    return pack


def test_a_replaced_volume_goes_after_its_time_and_the_log_says_so() -> None:
    site = make.site()
    oldest, older = _volume(site, "one", days_ago=80), _volume(site, "two", days_ago=40)
    newest, other = _volume(site, "three", days_ago=20), _volume(site, "four", days_ago=90, month="2026-01")
    assert "1 volume that newer ones replaced" in tidying.tidy()
    assert set(Volume.objects.all()) == {older, newest, other}  # the second was replaced 20 days ago, 30 must pass
    assert [_file_of(one).exists() for one in (oldest, older, newest, other)] == [False, True, True, True]
    told = json.loads(Event.objects.get(action="replaced volumes removed").payload)
    assert told["after"]["volumes"] == "1"
    assert oldest.file_sha256[:16] in told["after"]["sha256"]
    assert "0 volumes" in tidying.tidy()
    assert Event.objects.filter(action="replaced volumes removed").count() == 1


def test_a_volume_that_a_pack_names_stays_however_old_it_is() -> None:
    site = make.site()
    named, newer = _volume(site, "one", days_ago=80), _volume(site, "two", days_ago=70)
    _pack(site, [named])
    assert "0 volumes" in tidying.tidy()
    assert set(Volume.objects.all()) == {named, newer}
    assert _file_of(named).exists()


def test_what_a_pack_that_does_not_lie_here_may_name_stays() -> None:
    site, elsewhere = make.site(), make.site()
    kept, _newer = _volume(site, "one", days_ago=80), _volume(site, "two", days_ago=70)
    gone, _other = _volume(elsewhere, "three", days_ago=80), _volume(elsewhere, "four", days_ago=70)
    building.path_of(_pack(site, [kept])).unlink()
    assert "1 volume that" in tidying.tidy()
    assert kept in Volume.objects.all()
    assert gone not in Volume.objects.all()


def test_nothing_goes_while_a_pack_is_being_built() -> None:
    site = make.site()
    _volume(site, "one", days_ago=80)
    _volume(site, "two", days_ago=70)
    asked(site)
    assert "wait until no pack is being built" in tidying.tidy()
    assert Volume.objects.count() == 2


def test_a_file_that_nobody_knows_goes_after_a_day() -> None:
    site = make.site()
    known = _volume(site, "one", days_ago=80)
    new, left = store.put(b"of a pack built now", 1).path, store.folder() / ".half-written"
    left.write_bytes(b"half")
    old = time.time() - 2 * 24 * 3600
    os.utime(left, (old, old))
    assert tidying.tidy().endswith("1 file of no use.")
    assert (new.exists(), left.exists(), _file_of(known).exists()) == (True, False, True)
