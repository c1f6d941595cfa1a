"""From tag on to tag off: repair, test, witness, time down; readiness at each step."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility import events, services
from facility.models import Chamber, Event
from facility.readiness.services import evaluate_chamber
from maintenance.models import CylinderAnalysis, Defect, Equipment, Happening, Repair, WorkRecord
from maintenance.services import Return, add_repair, correct_defect, raise_defect, return_after_test, return_to_service
from maintenance.services.defects import down_of, effect_of, effects_on
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T
from tests.maintenance.working.support import HOUR, defect, repaired, return_test, signed_in

pytestmark = pytest.mark.django_db
TESTER = events.system("tester")


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber(make.site(zone="Europe/Oslo"))


def gauge(chamber: Chamber, tag: str) -> Equipment:
    """Return a gauge in date at T."""
    item = make.equipment(chamber.site, tag=tag)
    make.work(make.rule(item), date(2026, 11, 1))
    return item


def state(chamber: Chamber, at: Any = T) -> str:
    return str(evaluate_chamber(chamber, at=at).evaluations["t6"].state)


def found_now(item: Equipment, **fields: Any) -> Defect:
    """Return a defect found an hour before T."""
    row = Defect(
        **{"site": item.site, "equipment": item, "what": "sticks", "effect": "stops", "found_at": T - HOUR} | fields
    )
    return raise_defect(row, by=make.BY)


def test_readiness_changes_at_each_step_and_only_a_passed_test_lifts_the_tag(chamber: Chamber) -> None:
    one, two = gauge(chamber, "G1"), gauge(chamber, "G2")
    build.plan(chamber, "t6", build.need(chamber, "depth", one, two, k=2))
    assert state(chamber) == "Ready"
    row = found_now(one)
    assert state(chamber) == "Not ready"
    repaired(row, done_at=T - HOUR / 2)
    assert state(chamber) == "Not ready"
    back = Return(T - HOUR / 4, "Run to 60 fsw and back.", "J. Quill", test=WorkRecord(result="failed"))
    return_after_test(row, back, by=TESTER, shown_version=1)
    assert row.returned_at is None
    assert state(chamber) == "Not ready"
    again = Return(T - HOUR / 4, "Run to 60 fsw and back.", "J. Quill", test=WorkRecord(result="passed"))
    return_after_test(row, again, by=TESTER, shown_version=1)
    assert row.returned_at == T - HOUR / 4
    assert state(chamber) == "Ready"
    results = WorkRecord.objects.filter(kind="return_test").order_by("pk").values_list("result", "done_by", "witness")
    assert list(results) == [("failed", TESTER.name, "J. Quill"), ("passed", TESTER.name, "J. Quill")]


@pytest.mark.parametrize(("effect", "k", "members"), [
    ("stops", 1, 1), ("stops", 1, 2), ("stops", 2, 2), ("stops", 2, 3), ("limits", 1, 1), ("limits", 2, 2), ("limits", 1, 2), ("watch", 1, 1),
])  # fmt: skip
@pytest.mark.parametrize("other", ["", "stops", "limits"])
def test_what_is_proposed_is_what_readiness_then_says(
    chamber: Chamber, effect: str, k: int, members: int, other: str
) -> None:
    """The proposal reckons from needs alone; the evaluation of the whole chamber must agree where nothing else is wrong."""
    items = [gauge(chamber, f"G{number}") for number in range(members)]
    build.plan(chamber, "t6", build.need(chamber, "depth", *items, k=k))
    if other and members > 1:
        found_now(items[1], effect=other)
    foreseen = effects_on(chamber.site, items[0])[effect]
    row = found_now(items[0], effect=effect)
    said = state(chamber)
    if effect == "watch":
        assert (foreseen.stopped, foreseen.limited) == ((), ())
    else:
        words = {"Ready": (0, 0), "Ready with limits": (0, 1), "Not ready": (1, 0)}
        assert (len(foreseen.stopped), len(foreseen.limited)) == words[said]
        assert effect_of(row) == foreseen


def test_a_defect_of_some_plans_alone_leaves_the_others(chamber: Chamber) -> None:
    item = gauge(chamber, "G1")
    need = build.need(chamber, "depth", item)
    build.plan(chamber, "t5", need)
    build.plan(chamber, "t6", need)
    does = effect_of(found_now(item, plans=["t6"]))
    assert (len(does.stopped), len(does.holding)) == (1, 1)
    assert "T6" in does.stopped[0]
    assert does.because == ("Depth asks for 1 of 1 and has 0 left",)


def test_without_a_repair_on_record_there_is_no_return() -> None:
    row = defect(make.site())
    back = Return(make.NOON + HOUR, "Holds.", "J. Quill", test=return_test(row))
    with pytest.raises(ValidationError, match="No repair of tag 0001 is on record"):
        return_to_service(row, back, by=TESTER, shown_version=1)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"result": "failed"}, "did not pass"),
        ({"result": "could not read"}, "did not pass"),
        ({"kind": "function_test"}, "No return-to-service test"),
        ({"done_on": make.DAY - timedelta(days=1)}, "before the last repair"),
    ],
)
def test_a_test_that_proves_nothing_leaves_the_tag_on(fields: dict[str, Any], said: str) -> None:
    row = defect(make.site())
    repaired(row)
    back = Return(make.NOON + 2 * HOUR, "Holds.", "J. Quill", test=return_test(row, **fields))
    with pytest.raises(ValidationError, match=said):
        return_to_service(row, back, by=TESTER, shown_version=1)
    with pytest.raises(ValidationError, match="No return-to-service test"):
        return_to_service(row, Return(make.NOON + 2 * HOUR, "Holds.", "J. Quill"), by=TESTER, shown_version=1)


@pytest.mark.parametrize("name", ["R. Fitter", "r. fitter", " R.  FITTER ", "\uff32. Fitter"])
def test_the_one_who_repaired_it_is_no_witness_however_the_name_is_written(name: str) -> None:
    row = defect(make.site())
    repaired(row, done_by="R. Fitter")
    back = Return(make.NOON + 2 * HOUR, "Holds.", name, test=return_test(row))
    with pytest.raises(ValidationError, match="repaired it"):
        return_to_service(row, back, by=TESTER, shown_version=1)


def test_a_return_before_the_last_repair_is_refused() -> None:
    row = defect(make.site())
    repaired(row, done_at=make.NOON + 3 * HOUR)
    with pytest.raises(ValidationError, match="before the last repair"):
        return_to_service(row, Return(make.NOON + HOUR, "x", "J. Quill"), by=TESTER, shown_version=1)


def test_a_repair_before_the_defect_or_after_its_return_is_refused() -> None:
    row = defect(make.site())
    with pytest.raises(ValidationError, match="before the defect was found"):
        add_repair(Repair(defect=row, done_at=make.NOON - HOUR, done_by="x", what="x"), by=make.BY)
    repaired(row)
    back = Return(make.NOON + 2 * HOUR, "Holds.", "J. Quill", test=return_test(row))
    return_to_service(row, back, by=TESTER, shown_version=1)
    with pytest.raises(ValidationError, match="no longer open"):
        repaired(row)


def test_a_repair_counts_on_when_the_statement_of_the_defect_is_corrected() -> None:
    row = defect(make.site())
    repaired(row)
    new = correct_defect(row, Defect(site=row.site, equipment=row.equipment, what="reads 2 fsw high", effect="stops",
                                     found_at=row.found_at), by=make.BY, reason="measured")  # fmt: skip
    back = Return(make.NOON + 2 * HOUR, "Holds.", "J. Quill", test=return_test(new))
    assert return_to_service(new, back, by=TESTER, shown_version=1).returned_at is not None


def test_gas_in_doubt_comes_back_only_when_every_cylinder_is_analysed_again() -> None:
    bank = make.bank()
    first, second = (build.cylinder(bank) for _number in range(2))
    with pytest.raises(ValidationError, match="counts as unanalysed"):
        defect(bank.site, bank=bank, gas_suspect=True, effect="watch")
    row = defect(bank.site, bank=bank, gas_suspect=True)
    repaired(row)
    back = Return(make.NOON + 9 * HOUR, "Analysed, connected, no leak.", "J. Quill")
    with pytest.raises(ValidationError, match=f"Analyse first: {first.mark}, {second.mark}"):
        return_to_service(row, back, by=TESTER, shown_version=1)
    for cylinder in (first, second):
        services.add(CylinderAnalysis(cylinder=cylinder, analysed_at=make.NOON + 2 * HOUR, result="passed", oxygen_percent=100,
                                      analysed_by="J. Quill"), by=make.BY)  # fmt: skip
    assert return_to_service(row, back, by=TESTER, shown_version=1).returned_at is not None


def test_time_down_is_counted_from_found_to_returned_and_summed_without_counting_twice() -> None:
    row = defect(make.site())
    item = row.equipment
    assert item is not None
    other = defect(row.site, equipment=item, found_at=make.NOON + HOUR)
    limits = defect(row.site, equipment=item, effect="limits", found_at=make.NOON)
    repaired(row)
    back = Return(make.NOON + 3 * HOUR, "Holds.", "J. Quill", test=return_test(row))
    return_to_service(row, back, by=TESTER, shown_version=1)
    down = down_of([item.pk], make.NOON + 5 * HOUR)[item.pk]
    # the first 3 h, the second from hour 1 until now at hour 5: together 5 h; the restriction 5 h
    assert (down.out_min, down.limited_min, other.effect, limits.effect) == (300, 300, "stops", "limits")


def test_the_pages_lead_from_the_tag_through_repair_and_a_failed_test_to_tag_off() -> None:
    site = make.site(zone="Europe/Oslo")
    client = signed_in(make.user(site, "maintainer"))
    row = defect(site)
    page = reverse("maintenance:defect", args=[site.key, row.pk])
    assert "No repair is on record yet." in client.get(page).content.decode()
    repair = reverse("maintenance:repair", args=[site.key, row.pk])
    typed = {
        "done_at": "12 Mar 2026 14:00",
        "done_by": "R. Fitter",
        "what": "New bourdon tube.",
        "part_1": "tube",
        "serial_1": "88",
    }
    refused = client.post(repair, typed)
    assert refused.status_code == 422
    assert "cleaned for oxygen" in refused.content.decode()
    assert (
        client.post(repair, typed | {"cleaned_for_oxygen_1": "yes", "cost": "40", "currency": "EUR"}).status_code == 302
    )
    assert Repair.objects.get().parts == [
        {"part": "tube", "serial": "88", "cleaned_for_oxygen": "yes", "certificate": ""}
    ]
    back = reverse("maintenance:return_to_service", args=[site.key, row.pk])
    test = {
        "at": "12 Mar 2026 16:00", "done": "Compared at 60 fsw.", "witness": make.person(site).pk, "shown_version": "1",
        "password": make.PASSWORD, "o_1_label": "Difference", "o_1": "3", "o_1_unit": "fsw", "o_1_high": "2",
    }  # fmt: skip
    assert client.post(back, test | {"witness": ""}).status_code == 422
    client.post(back, test)
    assert Defect.objects.get().returned_at is None
    assert "stays on" in client.get(page).content.decode()
    client.post(back, test | {"o_1": "2"})
    assert Defect.objects.get().returned_at is not None
    shown = client.get(page).content.decode()
    for words in ("New bourdon tube.", "88", "Was down", "Return-to-service tests"):
        assert words in shown
    assert Event.objects.latest("seq").action == "returned to service"


def test_a_bank_is_asked_whether_its_gas_could_be_wrong() -> None:
    bank = make.bank()
    client = signed_in(make.user(bank.site, "tender"))
    page = reverse("maintenance:raise_defect", args=[bank.site.key])
    typed = {"bank": bank.pk, "what": "label differs", "effect": "stops", "found_at": "12 Mar 2026 13:00"}
    refused = client.post(page, typed)
    assert refused.status_code == 422
    assert "say whether the gas could be wrong" in refused.content.decode()
    assert client.post(page, typed | {"gas_suspect": "yes"}).status_code == 302
    row = Defect.objects.get()
    assert row.gas_suspect
    shown = client.get(reverse("maintenance:defect", args=[bank.site.key, row.pk])).content.decode()
    assert "treat it as unanalysed" in shown


def test_a_repair_tells_what_happened_so_that_acts_after_a_repair_fall_due() -> None:
    """46 CFR 197.462 and the Navy manual ask for tests after a repair: the event is on record without another form."""
    row = defect(make.site())
    repaired(row, parts=[{"part": "seal", "serial": "", "cleaned_for_oxygen": "yes", "certificate": ""}])
    told = Happening.objects.order_by("pk").values_list("kind", "happened_on", "reported_by")
    assert list(told) == [("repaired", make.DAY, "R. Fitter"), ("part replaced", make.DAY, "R. Fitter")]
    add_repair(
        Repair(defect=row, done_at=make.NOON + HOUR, done_by="x", what="Looked: sound."), by=make.BY, changed=False
    )
    assert Happening.objects.count() == 2
