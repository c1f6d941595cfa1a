"""Report and tables are made from one view of the records, and say the same numbers. Here the report is the real one."""

from __future__ import annotations

import json
import re
from contextvars import Context
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility import events, services
from facility.jobs.queue import Kind, enqueue
from facility.models import Check, Event, Job, Site
from facility.pack import layout
from facility.pack import services as packing
from facility.pack.snapshot import reading_from, snapshot
from maintenance.models import Defect
from tests import make
from tests.pack.kit import asked, opened
from tests.treatments.after.pdf_text import pages_of

if TYPE_CHECKING:
    from pathlib import Path

    from facility.models import CheckSheet

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("folder")]
MEANWHILE = "Entered meanwhile"


def _checked(sheet: CheckSheet, number: int, at: datetime) -> None:
    services.add(
        Check(sheet=sheet, version=sheet.versions.get(), number=number, state="signed", result="passed", started_at=at,
              started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY,
    )  # fmt: skip


def _broken(site: Site, number: int, what: str) -> None:
    services.add(
        Defect(site=site, number=number, equipment=make.equipment(site), what=what, effect="watch",
               found_at=datetime(2026, 2, 3, 9, tzinfo=UTC)), by=make.BY,
    )  # fmt: skip


def _site() -> tuple[Site, CheckSheet]:
    site = make.site(zone="UTC")
    sheet = make.sheet(make.chamber(site))
    for day in range(5):
        _checked(sheet, day + 1, datetime(2026, 2, 1, 8, tzinfo=UTC) + timedelta(days=day))
    for number in (1, 2):
        _broken(site, number, "Needle sticks")
    return site, sheet


def _rows(root: Path, name: str) -> list[dict[str, Any]]:
    text = (root / layout.TABLES / f"{name}.jsonl").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]


def _report(root: Path) -> str:
    """Return the words of all volumes, in the order of their names."""
    found = [page for path in sorted((root / layout.DATA).glob("report-*.pdf")) for page in pages_of(path.read_bytes())]
    return " ".join(" ".join(found).split())


def _numbers(root: Path) -> dict[str, int]:
    told = _report(root)
    found = {name: re.search(rf"{name} (\d+)", told) for name in ("Checks signed", "Runs", "Open defects")}
    return {name: int(match[1]) for name, match in found.items() if match}


def test_an_entry_made_while_a_pack_is_built_stands_in_neither_its_tables_nor_its_report(tmp_path: Path) -> None:
    site, sheet = _site()
    pack = asked(site, from_day=date(2026, 2, 1), to_day=date(2026, 2, 28))
    said: list[str] = []

    def meanwhile(sentence: str) -> None:
        """Enter something at each word of progress until the tables and the report are read."""
        said.append(sentence)
        if sentence.startswith("Table") or "Reading the records" in sentence:
            number = len(said) + 100
            Context().run(_broken, site, number, MEANWHILE)  # somebody else does, outside this build
            Context().run(_checked, sheet, number, datetime(2026, 2, 20, 8, tzinfo=UTC))

    done = packing.build(pack.pk, by=make.BY, say=meanwhile)
    assert Defect.objects.filter(what=MEANWHILE).count() > 10  # it was entered, before and while the report was read
    root = opened(done, tmp_path)
    assert len(_rows(root, "checks")) == 5
    assert [row["number"] for row in _rows(root, "defects")] == [1, 2]
    assert _numbers(root) == {"Checks signed": 5, "Runs": 0, "Open defects": 2}
    assert MEANWHILE not in _report(root)
    assert MEANWHILE not in (root / layout.EVENTS).read_text(encoding="utf-8")


def test_the_counts_that_open_the_report_are_those_of_its_tables_and_of_the_log(tmp_path: Path) -> None:
    site, _sheet = _site()
    today = events.now().date()
    done = packing.build(asked(site, from_day=date(2026, 2, 1), to_day=today).pk, by=make.BY, say=lambda _word: None)
    root = opened(done, tmp_path)
    numbers = _numbers(root)
    assert numbers["Checks signed"] == sum(1 for row in _rows(root, "checks") if row["state"] == "signed")
    assert numbers["Open defects"] == sum(1 for row in _rows(root, "defects") if row["returned_at"] is None)
    assert numbers["Runs"] == len(_rows(root, "runs"))
    entries = re.search(r"(\d+) entries", _report(root))
    assert entries
    before = Event.objects.filter(site_id_text=site.key, seq__lte=done.log_size or 0)
    assert int(entries[1]) == before.count()


def test_the_progress_of_a_build_is_stored_and_read_at_once_and_what_others_store_is_not_seen() -> None:
    site = make.site()
    job = enqueue(Kind.TIDY, {})
    with snapshot() as using, reading_from(using):
        assert Site.objects.count() == 1
        Context().run(make.site)  # what is not of this build reads and stores as ever
        Job.objects.filter(pk=job.pk).update(progress="half")
        assert Job.objects.get(pk=job.pk).progress == "half"
        assert list(Site.objects.all()) == [site]
    assert Site.objects.count() == 2
