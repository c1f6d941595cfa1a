"""A report tells of nothing that its pack has not in its tables: in every scope, each number of a record leads to one."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import transaction

from facility import events, services
from facility.models import Event, Pack
from facility.pack import building, fields, layout, log, rows, scope
from facility.pack.snapshot import reading_from
from maintenance.models import Defect, GasBank, Repair
from tests import make
from tests.pack.filling import fill
from tests.pack.kit import built, opened
from tests.treatments.after.pdf_text import pages_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from facility.models import Chamber, Site
    from facility.pack.scope import Scope
    from facility.report.build import Told

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("folder")]
RECORD = re.compile(r"(?:event|entries) (\d+)|\d+ entries, (\d+) to (\d+)")


@pytest.fixture
def site() -> Site:
    """Return a site with a row of every sort, and items of several areas and of two chambers, each with what is wrong of it."""
    filled = fill()
    rules = dict.fromkeys(("depth_gauge", "compressor", "fire", "electrical"), filled.site.chambers.get())
    for number, (kind, chamber) in enumerate(
        [*rules.items(), ("depth_gauge", make.chamber(filled.site, key="second"))]
    ):
        _item(filled.site, chamber, kind, number)
    _bank(filled.site)
    return filled.site


def _bank(site: Site) -> Defect:
    """Return a defect of a gas bank alone, with its repair."""
    bank = GasBank.objects.get(site=site)
    defect = Defect(site=site, bank=bank, number=90, what="regulator creeps", effect="watch", found_at=make.NOON)
    services.add(defect, by=make.BY)
    services.add(Repair(defect=defect, done_at=make.NOON, done_by="Ina", what="seat cleaned"), by=make.BY)
    return defect


def _item(site: Site, chamber: Chamber, kind: str, number: int) -> None:
    item = make.equipment(site, chamber=chamber, kind=kind, tag=f"T-{number}")
    rule = make.rule(item, name="look", source="maker's handbook", standing="memory")
    make.work(rule, date(2026, 3, 4))
    services.add(
        Defect(site=site, equipment=item, number=70 + number, what="x", effect="watch", found_at=make.NOON), by=make.BY
    )
    told = events.What(
        "corrected", occurred_at=make.NOON - timedelta(9), late=True, site_key=site.key, reason="misread"
    )
    with transaction.atomic():
        events.record(item, told, by=make.BY)


def _told(site: Site, text: str) -> tuple[Scope, Told]:
    """Return a scope and what the report of a pack about it says."""
    pack = Pack(site=site, number=99, scope=text, from_day=date(2026, 1, 1), to_day=datetime.now(UTC).date())
    about = building.scope_of(pack)
    with reading_from("default"):
        return about, building._report(pack, about, "default", lambda _sentence: None)


def _texts(told: Any) -> Iterator[str]:
    """Yield every text in what a report says, however deep."""
    if isinstance(told, str):
        yield told
    elif isinstance(told, list | tuple):
        for one in told:
            yield from _texts(one)
    elif hasattr(told, "__dataclass_fields__"):
        for name in told.__dataclass_fields__:
            yield from _texts(getattr(told, name))


def _volumes(report: Told) -> list[Any]:
    return [report.opening, *(one.volume for one in report.others)]


def _records(report: Told) -> set[int]:
    """Return the numbers of the events that a report names, those between two numbers left aside."""
    found = RECORD.findall(" \n ".join(_texts([(one.sections, one.front) for one in _volumes(report)])))
    return {int(number) for numbers in found for number in numbers if number}


def _is_in(about: Scope, number: int) -> bool:
    """Return whether the record behind an event has a place in the tables of a scope."""
    event = Event.objects.get(seq=number)
    table = fields.by_label().get(event.subject_kind)
    if about.is_whole:
        return True
    return (
        table is not None and rows.is_in(table, about)
        and rows.rows_of(table, about, "default", all_days=True).filter(pk=event.subject_id).exists()
    )  # fmt: skip


def test_each_record_that_a_report_names_is_in_the_scope_of_its_pack(site: Site) -> None:
    seen = {}
    for text, _words in scope.choices(site):
        about, report = _told(site, text)
        named = _records(report)
        strange = {
            number: str(Event.objects.get(seq=number).subject_kind) for number in named if not _is_in(about, number)
        }
        assert strange == {}, text
        seen[text] = len(named)
    assert seen["whole"] > seen["chamber:second"] > 5
    assert all(seen[f"area:{one}"] for one in ("vessels", "gauges", "fire", "gas", "electrical", "runs", "checks"))


@pytest.mark.parametrize(
    ("text", "asked", "left"),
    [
        ("whole", {"Gaps", "Waivers", "Runs outside the house rules", "Open defects"}, []),
        ("area:gauges", {"Open defects"}, ["checks and their gaps", "waivers", "runs outside"]),
        ("area:checks", {"Gaps"}, ["waivers", "runs outside", "defects, overdue items"]),
        ("area:runs", {"Waivers", "Runs outside the house rules"}, ["checks and their gaps", "defects, overdue items"]),
    ],
)
def test_what_is_outside_a_scope_is_said_to_be_so_and_never_told_as_none(
    site: Site, text: str, asked: set[str], left: list[str]
) -> None:
    front = _told(site, text)[1].opening.front
    assert front is not None
    always = {"Late entries", "Corrections"}
    plant = {"Overdue items", "Deviations from codes", "Numbers from memory"} if "Open defects" in asked else set()
    assert {one.title for one in front.rows} == asked | always | plant
    assert all(words in front.about for words in left)
    assert ("Outside this scope" in front.about) == bool(left)
    assert (" gap" in front.counts) == ("Gaps" in asked)


def test_a_defect_of_a_gas_bank_is_told_with_gas_and_with_no_other_area(site: Site) -> None:
    defect = Defect.objects.get(number=90)
    number = Event.objects.get(subject_kind="maintenance.defect", subject_id=defect.pk).seq
    repair = Event.objects.get(subject_kind="maintenance.repair", subject_id=defect.repairs.get().pk).seq
    told = {}
    for text, _words in scope.choices(site):
        about, report = _told(site, text)
        events_in = Event.objects.filter(log.about(about, "default")).values_list("seq", flat=True)
        told[text] = (number in _records(report), _is_in(about, number), number in events_in, repair in events_in)
    everything = ("whole", "area:gas", "chamber:" + defect.bank.chamber.key)  # type: ignore[union-attr]  # of a chamber
    assert {text for text, found in told.items() if all(found)} == set(everything)
    assert {text for text, found in told.items() if any(found)} == set(everything)


def test_the_totals_that_open_a_report_of_one_area_are_those_of_its_tables(site: Site, tmp_path: Path) -> None:
    root = opened(built(site, scope="area:gauges"), tmp_path)
    told = " ".join(" ".join(pages_of((root / "data/report-1-summary.pdf").read_bytes())).split())
    numbers = (root / layout.TABLES / "defects.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert f"Open defects {len(numbers)} " in told
    assert len(numbers) == 2  # of the gauges of both chambers, and of no other item
    assert "Checks signed" not in told
