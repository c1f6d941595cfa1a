"""What the tests of backups share: an invented facility with a file, and commands in data folders of their own."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction

from facility import events, evidence, services
from facility.backup.keys import Key
from facility.backup.sealing import Sealer, unseal
from facility.models import Job, Site
from maintenance.models import Equipment
from tests import make
from tests.facility.readiness_db.build import need, plan
from tests.walk.pictures import png

if TYPE_CHECKING:
    from collections.abc import Mapping

ROOT = Path(__file__).resolve().parent.parent.parent
KEY = Key(bytes(range(32)))
#: stands in a name, a reason and thus in events
MARKER = "Quillback-marker-7731"
OF_OTHERS = ("DEEPSTEAD_DATABASE_URL", "DEEPSTEAD_BACKUP_COPY", "DEEPSTEAD_BACKUP_COMMAND", "DJANGO_SETTINGS_MODULE")


def facility() -> Site:
    """Store a small facility: every kind of column that differs between the databases is in use."""
    site = make.site(name=f"{MARKER} Ø 25 % „quoted“")
    chamber = make.chamber(site)
    make.lock(chamber)
    make.sheet(chamber)
    make.supervisor(site)
    make.bank(site)
    gauge = make.equipment(site)
    make.work(make.rule(gauge), date(2026, 3, 1))
    gauge.name = "Depth gauge, inner lock"
    plan(chamber, "table-6", need(chamber, "depth", gauge), extensions=[{"minutes": 25, "allowed": 2}])
    services.change(gauge, reason=MARKER, shown_version=gauge.row_version, by=make.BY)
    evidence.accept(SimpleUploadedFile("plate.png", png()), site=site, by=make.BY)
    Job.objects.create(kind="tidy", arguments={"half": 0.5, "none": None}, made_at=make.NOON, due_at=make.NOON)
    return site


def write_event(word: str = "tried:writing") -> None:
    """Append one event as any request does."""
    with transaction.atomic():
        events.record(None, events.What(word), by=make.BY)


def equipment(site: Site) -> list[Equipment]:
    """Return what the site has."""
    return list(Equipment.objects.filter(site=site))


def manage(folder: Path, *arguments: str, url: str = "", given: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command in a process and a data folder of its own."""
    return subprocess.run(
        command(*arguments), env=environment(folder, url), input=given, capture_output=True, text=True, check=False,
        timeout=120,
    )  # fmt: skip


def command(*arguments: str) -> list[str]:
    return [sys.executable, str(ROOT / "manage.py"), *arguments]


def environment(folder: Path, url: str = "") -> Mapping[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in OF_OTHERS}
    return {**kept, "DEEPSTEAD_DATA": str(folder), **({"DEEPSTEAD_DATABASE_URL": url} if url else {})}


def key_file(folder: Path, key: Key = KEY) -> Path:
    """Write the words of a key as somebody types them from paper."""
    path = folder / "words.txt"
    path.write_text(key.words.replace(" ", "\n").title(), encoding="utf-8")
    return path


def plain(path: Path, key: Key = KEY) -> zipfile.ZipFile:
    """Return the unsealed archive of a backup."""
    target = BytesIO()
    with path.open("rb") as source:
        unseal(source, key, target)
    return zipfile.ZipFile(target)


def sealed_again(archive: zipfile.ZipFile, changed: Mapping[str, bytes], target: Path, key: Key = KEY) -> Path:
    """Write an archive anew with some members changed, as only who has the key can."""
    content = BytesIO()
    with zipfile.ZipFile(content, "w") as copy:
        for name in archive.namelist():
            copy.writestr(name, changed.get(name, archive.read(name)))
    with target.open("wb") as file:
        sealer = Sealer(file, key)
        sealer.write(content.getvalue())
        sealer.close()
    return target
