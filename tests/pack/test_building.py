"""A pack as a stranger finds it: a valid bag, tables that equal the database, the log, the calendar, the same bytes twice."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import bagit  # type: ignore[import-untyped]  # ships no types
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from icalendar import Calendar

from facility import box_key, evidence, services
from facility.compute.chain import chain_digest
from facility.models import Checkpoint, Event
from facility.pack import bag, building, fields, layout
from facility.pack.released import Release
from maintenance.models import Defect, WorkRecord
from tests import make
from tests.pack.filling import fill
from tests.pack.kit import asked, built, opened, silent
from tests.walk.pictures import pdf, png

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]


def rows(root: Path, name: str) -> list[dict[str, Any]]:
    """Return a table of JSON lines."""
    text = (root / layout.TABLES / f"{name}.jsonl").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]


def cells(root: Path, name: str) -> list[list[str]]:
    """Return a table of CSV, head first."""
    return list(
        csv.reader(io.StringIO((root / layout.TABLES / f"{name}.csv").read_bytes().decode("utf-8"), newline=""))
    )


def test_a_pack_is_a_valid_bag_by_an_independent_library(tmp_path: Path) -> None:
    """RFC 8493, by the library ``bagit``."""
    pack = built(fill().site)
    root = opened(pack, tmp_path)
    assert bagit.Bag(str(root)).validate()
    assert root.name == f"pack-2-2026-01-01-{pack.to_day}"
    (root / layout.LEAVES).write_text("other")
    with pytest.raises(bagit.BagError):
        bagit.Bag(str(root)).validate()


def test_the_tag_manifest_is_signed_by_the_key_of_the_box(tmp_path: Path) -> None:
    import base64

    root = opened(built(fill().site), tmp_path)
    signature = base64.b64decode((root / layout.SIGNATURE).read_text(), validate=True)
    content = (root / layout.TAG_MANIFEST).read_bytes()
    assert box_key.is_signed(b"deepstead pack v1", content, signature, box_key.public_key())
    assert not box_key.is_signed(b"deepstead pack v1", content + b" ", signature, box_key.public_key())
    assert {line.split("  ")[1] for line in content.decode().splitlines()} == {
        "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "verify.py", "verify.html"}  # fmt: skip


def test_every_table_has_as_many_rows_as_the_database_in_csv_in_json_lines_and_in_the_totals(tmp_path: Path) -> None:
    filled = fill()
    root = opened(built(filled.site), tmp_path)
    totals = json.loads((root / layout.ABOUT).read_text())["tables"]
    wanted = {
        one.name: one.model._base_manager.filter(**{one.site: filled.site.pk}).count()
        for one in fields.tables()
        if not one.only_attached
    }
    wanted["packs"] -= 1  # the one being built
    del totals["files"]
    assert totals == wanted
    assert {name: len(rows(root, name)) for name in wanted} == wanted
    assert {name: len(cells(root, name)) - 1 for name in wanted} == wanted
    assert sum(wanted.values()) > 50


def test_json_lines_have_the_true_values_and_csv_the_units_and_the_days_of_the_site(tmp_path: Path) -> None:
    site = make.site()
    gauge = make.equipment(site, name="=1+1")
    late = datetime(2026, 3, 31, 22, 30, tzinfo=UTC)  # 1 April, 00:30, in Oslo
    services.add(Defect(site=site, number=1, equipment=gauge, what="-1.5", effect="watch", found_at=late), by=make.BY)
    root = opened(built(site), tmp_path)
    assert rows(root, "defects")[0]["found_at"] == "2026-03-31T22:30:00+00:00"
    found = dict(zip(*cells(root, "defects"), strict=True))
    assert (found["found_at"], found["what"]) == ("2026-04-01T00:30:00+02:00", "-1.5")
    assert dict(zip(*cells(root, "equipment"), strict=True))["name"] == "'=1+1"
    assert rows(root, "equipment")[0]["name"] == "=1+1"
    assert "minutes [min]" in cells(root, "drills")[0]


@pytest.mark.parametrize(
    ("from_day", "to_day", "there"),
    [(date(2026, 4, 1), date(2026, 4, 1), 1), (date(2026, 3, 31), date(2026, 3, 31), 0),
     (date(2026, 3, 1), date(2026, 4, 30), 1), (date(2026, 4, 2), date(2026, 4, 30), 0)],
)  # fmt: skip
def test_the_days_of_a_pack_are_civil_days_of_the_site(
    from_day: date, to_day: date, there: int, tmp_path: Path
) -> None:
    site = make.site()
    at = datetime(2026, 3, 31, 22, 30, tzinfo=UTC)  # 1 April, 00:30, in Oslo
    gauge = make.equipment(site)
    found = Defect(site=site, number=1, equipment=gauge, what="x", effect="watch", found_at=at,
                   returned_at=at + timedelta(minutes=1))  # fmt: skip
    services.add(found, by=make.BY)
    assert len(rows(opened(built(site, from_day=from_day, to_day=to_day), tmp_path), "defects")) == there


def test_the_log_in_a_pack_is_the_exact_text_and_the_digest_of_every_event(tmp_path: Path) -> None:
    filled = fill()
    other = make.site(name="Somewhere else")
    pack = built(filled.site)
    root = opened(pack, tmp_path)
    stored = {one.seq: one for one in Event.objects.all()}
    leaves = (root / layout.LEAVES).read_text().split()
    head = Checkpoint.objects.get(size=pack.log_size or 0)
    assert leaves == [bytes(stored[seq].digest).hex() for seq in range(1, len(leaves) + 1)]
    assert (len(leaves), (root / layout.HEAD).read_text()) == (head.size, head.note)
    told = [json.loads(line) for line in (root / layout.EVENTS).read_text(encoding="utf-8").splitlines()]
    assert len(told) > 50
    for one in told:
        assert one["payload"] == stored[one["seq"]].payload
        assert chain_digest(bytes.fromhex(one["prev"]), one["payload"]).hex() == one["digest"] == leaves[one["seq"] - 1]
    assert other.name not in (root / layout.EVENTS).read_text(encoding="utf-8")
    counts = json.loads((root / layout.ABOUT).read_text())["events"]
    assert counts["full"] == len(told)
    assert counts["digest_only"] > 10


def test_the_same_data_and_the_same_time_give_the_same_bytes(tmp_path: Path) -> None:
    pack = asked(fill().site)
    made_at = datetime(2026, 11, 26, 14, 31, tzinfo=UTC)
    digests = []
    for name in ("one", "two"):
        root = tmp_path / name / "pack"
        root.mkdir(parents=True)
        building.fill(root, pack, made_at, silent)
        bag.zipped(root, tmp_path / f"{name}.zip")
        digests.append(hashlib.sha256((tmp_path / f"{name}.zip").read_bytes()).hexdigest())
    assert digests[0] == digests[1]


def test_certificates_go_along_by_their_digest_and_pictures_only_when_released(tmp_path: Path) -> None:
    filled = fill()
    paper = evidence.accept(SimpleUploadedFile("Name Of Somebody.pdf", pdf()), site=filled.site, by=make.BY)
    photo = evidence.accept(SimpleUploadedFile("me.png", png()), site=filled.site, by=make.BY)
    gauge = filled.rows["maintenance.Equipment"]
    work = filled.rows["maintenance.WorkRecord"]
    WorkRecord.objects.filter(pk=work.pk).update(evidence=paper)
    drill = filled.rows["facility.Drill"]
    type(drill).objects.filter(pk=drill.pk).update(evidence=photo)
    plain = opened(built(filled.site), tmp_path / "plain")
    names = sorted(path.name for path in (plain / layout.ATTACHMENTS).iterdir())
    assert names == [f"{paper.sha256}.pdf"]
    let_go = opened(
        built(filled.site, [Release("drills", drill.pk, "evidence", "It shows the hose")]), tmp_path / "two"
    )
    names = sorted(path.name for path in (let_go / layout.ATTACHMENTS).iterdir())
    assert names == sorted([f"{paper.sha256}.pdf", f"{photo.sha256}.png"])
    assert gauge.site_id == filled.site.pk


def test_a_certificate_that_is_missing_on_the_disk_is_told_and_stops_nothing(tmp_path: Path) -> None:
    filled = fill()
    root = opened(built(filled.site), tmp_path)
    missing = filled.rows["facility.Evidence"].sha256
    assert json.loads((root / layout.ABOUT).read_text())["attachments_missing"] == [missing]
    assert missing in (root / layout.README).read_text()


def test_the_calendar_is_read_by_an_independent_parser_and_names_what_is_due(tmp_path: Path) -> None:
    """RFC 5545, by the library ``vobject``."""
    import vobject

    site = make.site()
    rule = make.rule(make.equipment(site, tag="IL-D1"), months=12)
    make.work(rule, date(2026, 3, 1))
    root = opened(built(site), tmp_path)
    found = vobject.readOne((root / layout.DUE).read_text(encoding="utf-8"))
    entries = [(one.dtstart.value, one.summary.value) for one in found.vevent_list]
    assert entries == [(date(2027, 3, 1), f"Due: {rule.name}, IL-D1 {rule.equipment.name}")]
    assert len(Calendar.from_ical((root / layout.DUE).read_bytes()).walk("VEVENT")) == 1
