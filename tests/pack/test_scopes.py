"""Names in a pack, its scopes, what happens while it is built, and what is refused."""

from __future__ import annotations

import json
import os
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from django.core.exceptions import ValidationError

from facility import services
from facility.models import Event, PackState
from facility.pack import building, layout
from facility.pack import services as packing
from facility.pack.released import Release
from tests import make
from tests.pack.filling import fill
from tests.pack.kit import asked, built, opened, silent
from tests.treatments.opening.support import opened as opened_run

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]


def rows(root: Path, name: str) -> list[dict[str, Any]]:
    """Return a table of JSON lines."""
    text = (root / layout.TABLES / f"{name}.jsonl").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]


def test_what_was_entered_after_the_days_about_them_is_told_word_for_word(tmp_path: Path) -> None:
    site = make.site()
    rule = make.rule(make.equipment(site))
    of_the_days, later = make.work(rule, date(2026, 2, 9)), make.work(rule, date(2026, 3, 9))
    root = opened(built(site, from_day=date(2026, 2, 1), to_day=date(2026, 2, 28)), tmp_path)
    told = [json.loads(line) for line in (root / layout.EVENTS).read_text(encoding="utf-8").splitlines()]
    kind = "maintenance.workrecord"
    wanted = Event.objects.filter(subject_kind=kind, subject_id=of_the_days.pk).values_list("seq", flat=True)
    other = Event.objects.filter(subject_kind=kind, subject_id=later.pk).values_list("seq", flat=True)
    assert wanted
    assert {one["seq"] for one in told} >= set(wanted)
    assert not {one["seq"] for one in told} & set(other)
    assert [one["seq"] for one in told] == sorted(one["seq"] for one in told)


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


def test_what_a_killed_build_left_is_removed_after_a_day_and_a_pack_is_for_its_owner_alone() -> None:
    left, recent = (building.folder() / f"{building.UNFINISHED}{name}" for name in ("old", "new"))
    for path in (left, recent):
        path.mkdir(parents=True)
    os.utime(left, (0, 0))
    pack = built(make.site())
    assert (left.exists(), recent.exists()) == (False, True)
    assert building.path_of(pack).stat().st_mode & 0o077 == 0


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
