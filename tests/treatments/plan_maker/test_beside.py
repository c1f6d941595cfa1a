"""A plan in force beside what its table would give now."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from facility import services
from tests import make
from tests.treatments.plan_maker.support import client_of, with_locks
from tests.treatments.test_runs import plan_of
from treatments.models import Plan
from treatments.plan_maker.compare import Comparison, compare
from treatments.plan_maker.inputs import as_text, known_of, suggested
from treatments.plan_maker.working import work_out
from treatments.reference import FILES, table
from treatments.table_book.tables import table_for

pytestmark = pytest.mark.django_db


def beside(plan: Plan) -> Comparison:
    found = compare(plan)
    assert found is not None
    return found


def worked_plan(chamber: Any, **fields: Any) -> Plan:
    """Return a plan of table 5 exactly as its table gives it."""
    found = table_for(chamber.site, "TT5")
    worked = work_out(found, chamber, suggested(found.table))
    gas = {one.gas: {"demand": one.demand, "reserve": one.reserve} for one in worked.amounts}
    said = as_text("TT5", 0, worked.asking)
    defaults = {"extensions": [{"minutes": 25, "allowed": 2}], "gas": gas, "source": said, "table": "TT5"}
    return plan_of(chamber, **defaults | fields)


def test_a_plan_as_its_table_gives_it_has_no_finding() -> None:
    found = beside(worked_plan(with_locks()))
    assert not found.findings
    assert {row.words for row in found.rows} == {"the same"}


def test_a_plan_that_asks_for_less_is_a_finding_and_more_is_not() -> None:
    chamber = with_locks()
    plan = worked_plan(chamber)
    less = plan.gas | {"O2": {"demand": plan.gas["O2"]["demand"] - 7, "reserve": plan.gas["O2"]["reserve"] + 7}}
    found = beside(worked_plan(chamber, key="second", gas=less, table_min=130))
    said = {row.name: row.words for row in found.rows if row.words != "the same"}
    assert said == {
        "Table, descent included": "the plan asks for 8 min less", "Longest run": "the plan asks for 8 min less",
        "O2, demand of one run": "the plan asks for 7 L less", "O2, reserve that must be left": "the plan asks for 7 L more",
    }  # fmt: skip
    assert len(found.findings) == 3


def test_a_lock_that_was_measured_anew_shows_beside_the_plan() -> None:
    chamber = with_locks()
    plan = worked_plan(chamber)
    lock = chamber.locks.get(kind="inner")
    lock.volume = Decimal(330)
    services.change(lock, by=make.BY, reason="measured", shown_version=lock.row_version)
    less = {row.name for row in beside(plan).findings}
    assert less == {"AIR, demand of one run", "AIR, reserve that must be left"}


def test_an_extension_that_the_table_does_not_state_is_named() -> None:
    rows = beside(worked_plan(with_locks(), extensions=[{"minutes": 40, "allowed": 1}])).rows
    strange = [row for row in rows if row.table is None]
    assert [(row.plan, row.words) for row in strange] == [(40, "not stated by the table")]


def test_a_plan_written_by_hand_is_read_by_its_party_and_says_so() -> None:
    found = beside(plan_of(with_locks(), table="TT5", party="2 patients, 1 tender"))
    assert "does not say how it was reckoned" in found.notes[0]
    assert found.query is not None
    assert (found.query["patients"], found.query["tenders"]) == ("2", "1")
    unread = beside(plan_of(with_locks(), table="TT5", party="whoever comes"))
    assert (unread.rows, "whoever comes" in unread.notes[0]) == ((), True)


def test_a_plan_without_a_table_has_nothing_beside_it_and_without_locks_it_says_why() -> None:
    chamber = with_locks()
    assert compare(plan_of(chamber)) is None
    bare = with_locks(medical=False)
    assert "medical lock" in beside(plan_of(bare, table="TT5")).fault


def test_the_page_of_a_plan_shows_both_and_opens_the_sums() -> None:
    chamber = with_locks()
    plan = worked_plan(chamber, table_min=130)
    client = client_of(chamber)
    text = client.get(reverse("treatments:plan", args=[chamber.site.key, plan.pk])).content.decode()
    assert "2 numbers of this plan are below what its table gives" in text
    address = text.split('href="' + reverse("treatments:make_plan", args=[chamber.site.key]), 1)[1].split('"', 1)[0]
    opened = client.get(reverse("treatments:make_plan", args=[chamber.site.key]) + address.replace("&amp;", "&"))
    assert opened.status_code == 200
    assert opened.context["old"] == plan.pk


@pytest.mark.parametrize("key", sorted(FILES))
def test_what_a_plan_says_of_itself_is_read_back(key: str) -> None:
    asking = suggested(table(key), 2, 1)
    text = as_text(key, 3, asking)
    known = known_of(f"{text}", "", table(key))
    assert known is not None
    assert (known.table, known.version, known.exact) == (key, 3, True)
    assert as_text(key, 3, known.asking) == text
    assert len(text) <= 200
    earlier = text.replace("1 tender", "1 tenders", 1)  # as plans of earlier versions say it
    assert earlier != text
    assert known_of(earlier, "", table(key)) == known


def test_what_a_plan_does_not_say_of_itself_is_not_held_against_it() -> None:
    """By hand with a dump: a finding only below what even a dump, fresh tenders and no transfer would ask for."""
    chamber = with_locks()
    site_table = table_for(chamber.site, "TT5")
    begun = suggested(site_table.table)
    bare = replace(begun, dump=True, previous=False, outer_fills=0, medical_fills=0)
    least = {one.gas: one.demand for one in work_out(site_table, chamber, bare).amounts}
    assumed = {one.gas: one.demand for one in work_out(site_table, chamber, begun).amounts}
    air, oxygen = least["AIR"], least["O2"]
    assert air is not None
    assert oxygen is not None
    assert air < (assumed["AIR"] or 0)
    gas = {"O2": {"demand": oxygen, "reserve": 1}, "AIR": {"demand": air, "reserve": 1}}
    known = beside(plan_of(chamber, table="TT5", gas=gas))
    assert not known.findings
    assert {row.mark for row in known.rows if row.unit == "L"} == {"unknown"}
    gas["AIR"]["demand"] = air - 1
    found = beside(plan_of(chamber, key="less", table="TT5", gas=gas)).findings
    assert [row.name for row in found] == ["AIR, demand of one run"]
