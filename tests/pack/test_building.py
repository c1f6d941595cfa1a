"""A pack as a stranger finds it: a valid bag, tables that equal the database, the log, the calendar, the same bytes twice."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import bagit
import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from icalendar import Calendar

from facility import box_key, evidence, services
from facility.compute.chain import chain_digest
from facility.models import Checkpoint, Event, PackState
from facility.pack import bag, building, fields, layout
from facility.pack import services as packing
from facility.pack.released import Release
from maintenance.models import Defect, WorkRecord
from tests import make
from tests.pack.filling import fill
from tests.pack.kit import asked, built, opened, silent
from tests.treatments.opening.support import opened as opened_run
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
    root = opened(built(fill().site), tmp_path)
    assert bagit.Bag(str(root)).validate()
    assert root.name == f"pack-2-2026-01-01-{date.today()}"  # noqa: DTZ011  # as the kit asks
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
    head = Checkpoint.objects.get(size=pack.log_size)
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


def test_each_pack_has_its_own_names_for_the_people_in_its_runs(tmp_path: Path) -> None:
    from treatments.models import Patient, Run, RunPlace

    site = make.site()
    run = opened_run(make.chamber(site))
    Run.objects.filter(pk=run.pk).update(opened_at=make.NOON)
    for number in range(1, 6):
        patient = Patient.objects.create(
            site=site, name=f"Real {number}", born_on=date(1980, 3, 13), salt=bytes(16), recorded_at=make.NOON,
            recorded_by="test",
        )  # fmt: skip
        services.add(
            RunPlace(run=run, role="patient", label=f"Patient {number}", patient=patient, inside=True), by=make.BY
        )
    person = make.person(site)
    services.add(RunPlace(run=run, role="tender", label=person.name, person=person, inside=True), by=make.BY)
    seen = []
    for turn in range(6):
        told = rows(opened(built(site), tmp_path / str(turn)), "run_places")
        hidden = [row for row in told if row["in_this_pack"]]
        assert sorted(row["in_this_pack"] for row in hidden) == [f"P-00{number}" for number in range(1, 6)]
        assert {(row["id"], row["age_band"]) for row in hidden} == {(None, "40-64")}  # 45 on the day before a birthday
        assert [row["person_id"] for row in told if row["role"] == "tender"] == [person.pk]
        seen.append(tuple(row["in_this_pack"] for row in told))
    assert len(set(seen)) > 1  # all six alike: one in 120 to the fifth power


def test_a_scope_leaves_out_what_is_of_another_area_or_chamber(tmp_path: Path) -> None:
    site = make.site()
    one, two = make.chamber(site), make.chamber(site)
    gauge = make.equipment(site, chamber=one, kind="depth_gauge", tag="G1")
    make.equipment(site, chamber=two, kind="depth_gauge", tag="G2")
    make.equipment(site, kind="fire", tag="F1")
    tags = {}
    for scope in (f"chamber:{one.key}", "area:gauges", "area:fire", "whole"):
        root = opened(built(site, scope=scope), tmp_path / scope.replace(":", "-"))
        tags[scope.split(":")[-1]] = {row["tag"] for row in rows(root, "equipment")}
        events = (root / layout.EVENTS).read_text(encoding="utf-8")
        told = {tag for tag in ("G1", "G2", "F1") if f'\\"tag\\":\\"{tag}\\"' in events}
        assert told == tags[scope.split(":")[-1]]
        assert (root / layout.TABLES / "people.csv").exists() is (":" not in scope or "chamber" in scope)
    assert tags == {one.key: {"G1", "F1"}, "gauges": {"G1", "G2"}, "fire": {"F1"}, "whole": {"G1", "G2", "F1"}}
    assert gauge.chamber_id == one.pk


def test_a_code_brings_what_it_asks_about_and_nothing_else(tmp_path: Path) -> None:
    from facility.reference import sources

    key, content = next(iter(sources().items()))
    site = make.site()
    asked_for, other = make.equipment(site, tag="A1"), make.equipment(site, tag="B1")
    make.work(make.rule(asked_for, source=f"{content['title']}, 1"), date(2026, 3, 1))
    make.work(make.rule(other, source="Maker's book"), date(2026, 3, 1))
    root = opened(built(site, scope=f"code:{key}"), tmp_path)
    assert [row["tag"] for row in rows(root, "equipment")] == ["A1"]
    assert [row["equipment_id"] for row in rows(root, "work")] == [asked_for.pk]
    with pytest.raises(ValidationError, match="is no scope of a pack here"):
        asked(make.site(), scope=f"code:{key}")


def test_what_is_entered_while_a_pack_is_built_is_not_half_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from facility.pack import tables

    site = make.site()
    make.equipment(site, tag="BEFORE")
    write = tables.write_all

    def meanwhile(frame: Any, say: Any) -> Any:
        make.equipment(site, tag="MEANWHILE")
        return write(frame, say)

    monkeypatch.setattr(tables, "write_all", meanwhile)
    root = opened(built(site), tmp_path)
    assert [row["tag"] for row in rows(root, "equipment")] == ["BEFORE"]
    assert "MEANWHILE" not in (root / layout.EVENTS).read_text(encoding="utf-8")


def test_a_pack_is_built_once_and_each_step_of_it_is_an_event() -> None:
    pack = built(make.site())
    again = packing.build(pack.pk, by=make.BY, say=silent)
    assert (again.state, again.sha256) == (PackState.BUILT, pack.sha256)
    told = Event.objects.filter(action__startswith="pack ").values_list("action", flat=True)
    assert list(told) == ["pack asked", "pack built"]
    payload = json.loads(Event.objects.get(action="pack asked").payload)["after"]
    assert (payload["recipient"], payload["ground"]) == ("Ada Test", "Code, 7")
    assert pack.sha256 in Event.objects.get(action="pack built").payload
    assert pack.pseudonyms["key"] not in "".join(Event.objects.values_list("payload", flat=True))


def test_a_pack_that_cannot_be_built_says_why_and_can_be_asked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    from facility.pack import log

    def full(*_args: Any) -> None:
        raise OSError(28, "No space left on device")

    pack = asked(make.site())
    with monkeypatch.context() as patch:
        patch.setattr(log, "write_leaves", full)
        with pytest.raises(OSError, match="No space left"):
            packing.build(pack.pk, by=make.BY, say=silent)
    pack.refresh_from_db()
    assert (pack.state, "No space left on device" in pack.error) == (PackState.FAILED, True)
    assert [path.name for path in building.folder().iterdir()] == [pack.site.key]
    packing.ask_again(pack, by=make.BY)
    assert packing.build(pack.pk, by=make.BY, say=silent).state == PackState.BUILT


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"to_day": date(2025, 12, 31)}, "before it begins"), ({"to_day": date(2999, 1, 1)}, "lies ahead"),
     ({"from_day": date(1900, 1, 1)}, "longer than 40 years"), ({"scope": "area:moon"}, "no scope of a pack"),
     ({"scope": "chamber:none"}, "no scope"), ({"paper": "A3"}, "Choose A4 or Letter"),
     ({"recipient": ""}, "cannot be blank"), ({"ground": ""}, "cannot be blank")],
)  # fmt: skip
def test_a_pack_that_makes_no_sense_is_refused_in_words(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError) as refused:
        asked(make.site(), **wrong)
    assert said in " ".join(refused.value.messages)
    assert not Event.objects.filter(action="pack asked").exists()


def test_a_release_must_name_a_record_of_the_site_a_field_that_may_go_and_a_reason() -> None:
    filled = fill()
    person = filled.rows["facility.Person"]
    elsewhere = make.person()
    for release, said in (
        (Release("people", person.pk, "phone", "why"), "is not released one by one"),
        (Release("people", elsewhere.pk, "note", "why"), "no record"),
        (Release("people", 10**30, "note", "why"), "no record"),
        (Release("people", person.pk, "note", " "), "Say in 1 to 300 letters"),
        (Release("patients", 1, "name", "why"), "no table"),
    ):
        with pytest.raises(ValidationError, match=said):
            asked(filled.site, [release])


def test_decimals_keep_their_digits(tmp_path: Path) -> None:
    filled = fill()
    root = opened(built(filled.site), tmp_path)
    stored = type(filled.rows["facility.Lock"]).objects.get().volume
    assert rows(root, "locks")[0]["volume"] == str(stored)
    assert Decimal(rows(root, "locks")[0]["volume"]) == stored
