"""The way back: repair with parts, return-to-service test with a witness, tag off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from maintenance.models import (
    CylinderAnalysis,
    Defect,
    Happening,
    HappeningKind,
    Repair,
    WorkKind,
    WorkRecord,
    WorkResult,
)
from maintenance.services.work import record_work, same_person

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor


@transaction.atomic
def add_repair(repair: Repair, *, by: Actor, late: bool = False, changed: bool = True) -> Repair:
    """Store what was done about a defect. The tag stays on until a test has passed.

    Where something was ``changed`` on an item, that it was repaired, and that a part was replaced, is stored too:
    acts that fall due after that do so.

    Errors: ValidationError if the defect is no longer open, or the repair lies before it was found.
    """
    if not repair.defect.is_current or repair.defect.returned_at is not None:
        raise ValidationError(_("This defect is no longer open. Look at it again."), code="not open")
    if repair.done_at < repair.defect.found_at:
        raise ValidationError({"done_at": _("The repair lies before the defect was found. Give a later time.")})
    repair.occurred_at = repair.done_at
    stored = services.add(repair, by=by, action="repaired", late=late)
    if changed and repair.defect.equipment is not None:
        _tell_what_happened(stored, by=by, late=late)
    return stored


def _tell_what_happened(repair: Repair, *, by: Actor, late: bool) -> None:
    day = repair.done_at.astimezone(ZoneInfo(repair.defect.site.zone)).date()
    kinds = [HappeningKind.REPAIRED, *([HappeningKind.PART_REPLACED] if repair.parts else [])]
    for kind in kinds:
        note = _("Tag %(number)04d: %(what)s") % {"number": repair.defect.number, "what": repair.what}
        happened = Happening(
            equipment=repair.defect.equipment, kind=kind, happened_on=day, note=note[:500], reported_by=repair.done_by,
            occurred_at=repair.done_at,
        )  # fmt: skip
        services.add(happened, by=by, action="event recorded", late=late)


def repairs_of(defect: Defect) -> list[Repair]:
    """Return the repairs under a tag number, newest first, also those recorded before its statement was corrected."""
    rows = Repair.objects.filter(defect__site=defect.site_id, defect__number=defect.number, retired_at=None)
    return list(rows.select_related("evidence").order_by("-done_at", "-pk"))


def tests_of(defect: Defect) -> list[WorkRecord]:
    """Return the return-to-service tests of a tag, newest first."""
    rows = WorkRecord.objects.filter(equipment=defect.equipment_id, kind=WorkKind.RETURN_TEST, retired_at=None)
    return [row for row in rows.order_by("-pk") if row.details.get("tag") == defect.number]


@dataclass(frozen=True, slots=True)
class Return:
    """How an item comes back to service: how it was tested, when, and who watched.

    Without a witness, ``alone_because`` says why there was none. ``test``: the record of the test; a bank has none.
    """

    at: datetime
    done: str
    witness: str = ""
    alone_because: str = ""
    test: WorkRecord | None = None


@transaction.atomic
def return_after_test(defect: Defect, back: Return, *, by: Actor, shown_version: int) -> Defect:
    """Store the test; if it passed the tag is off, if not the test stays on record and so does the tag.

    Errors: ValidationError as in return_to_service(), except that a test that did not pass is no error.
    """
    test = back.test
    if test is None:
        return return_to_service(defect, back, by=by, shown_version=shown_version)
    _refuse_early(defect, back)
    _refuse_witness(defect, back, by)
    test.kind, test.equipment = WorkKind.RETURN_TEST, defect.equipment  # type: ignore[assignment]  # a bank has no test
    test.done_by, test.witness = by.name, back.witness.strip()
    test.done_on = back.at.astimezone(ZoneInfo(defect.site.zone)).date()
    test.note = back.done.strip()[:500]
    test.details = {
        **test.details,
        "tag": defect.number,
        "defect": defect.pk,
        "alone_because": back.alone_because.strip(),
    }
    stored = record_work(test, by=by)
    if stored.result != WorkResult.PASSED:
        return defect
    return return_to_service(defect, replace(back, test=stored), by=by, shown_version=shown_version)


@transaction.atomic
def return_to_service(defect: Defect, back: Return, *, by: Actor, shown_version: int) -> Defect:
    """End a defect after a repair and a passed test, with a witness other than the repairer or a recorded reason.

    Errors: ValidationError naming what is missing; ChangedMeanwhileError if somebody was faster.
    """
    _refuse_early(defect, back)
    _refuse_test(defect, back)
    _refuse_witness(defect, back, by)
    _refuse_unanalysed(defect)
    note = back.done.strip()
    if not back.witness.strip():
        note = _("%(note)s Without a witness: %(why)s") % {"note": note, "why": back.alone_because.strip()}
    defect.returned_at = back.at
    defect.returned_by = by.name
    defect.return_note = note[:500]
    defect.witness = back.witness.strip()
    defect.return_test = back.test
    return services.change(defect, by=by, reason=note, shown_version=shown_version, action="returned to service")


def _refuse_early(defect: Defect, back: Return) -> None:
    if not defect.is_current or defect.returned_at is not None:
        raise ValidationError(_("This defect is no longer open. Look at it again."), code="not open")
    if back.at < defect.found_at:
        raise ValidationError({"at": _("The return lies before the defect was found. Give a later time.")})
    repairs = repairs_of(defect)
    if not repairs:
        raise ValidationError(_("No repair of tag %(number)04d is on record. Record first what was done, also where"
                                " nothing had to be changed.") % {"number": defect.number}, code="no repair")  # fmt: skip
    if back.at < repairs[0].done_at:
        raise ValidationError({"at": _("The return lies before the last repair. Give a later time.")})
    if not back.done.strip():
        raise ValidationError({"done": _("Say how it was tested.")})


def _refuse_test(defect: Defect, back: Return) -> None:
    if defect.equipment_id is None:
        return
    test = back.test
    if test is None or test.kind != WorkKind.RETURN_TEST or test.equipment_id != defect.equipment_id:
        raise ValidationError(_("No return-to-service test of this item is on record. Test it first."), code="no test")
    if not test.is_current or test.result != WorkResult.PASSED:
        raise ValidationError(
            _("The return-to-service test did not pass: the tag stays on until one has."), code="failed test"
        )
    zone = ZoneInfo(defect.site.zone)
    if test.done_on < repairs_of(defect)[0].done_at.astimezone(zone).date():
        raise ValidationError(_("The test was made before the last repair. Test it again."), code="old test")


def _refuse_witness(defect: Defect, back: Return, by: Actor) -> None:
    witness = back.witness.strip()
    if not witness and not back.alone_because.strip():
        raise ValidationError({"alone_because": _("Name a witness, or say why there was none.")})
    if same_person(witness, by.name):
        raise ValidationError({"witness": _("The witness must be another person than %(name)s, who returns it.")
                               % {"name": by.name}})  # fmt: skip
    if witness and any(same_person(witness, repair.done_by) for repair in repairs_of(defect)):
        raise ValidationError({"witness": _("%(name)s repaired it. The witness must be somebody else; if there is nobody,"
                                            " leave it empty and say why.") % {"name": witness}})  # fmt: skip


def _refuse_unanalysed(defect: Defect) -> None:
    """Refuse the return of a bank whose gas was in doubt before each of its cylinders is analysed again."""
    if not defect.gas_suspect or defect.bank is None:
        return
    analysed = CylinderAnalysis.objects.filter(
        cylinder__bank=defect.bank, analysed_at__gte=defect.found_at, result="passed", retired_at=None, doubted_by=None
    )
    again = set(analysed.values_list("cylinder", flat=True))
    missing = [one.mark for one in defect.bank.cylinders.filter(retired_at=None) if one.pk not in again]
    if missing:
        raise ValidationError(
            _("The gas was in doubt. Analyse first: %(marks)s.") % {"marks": ", ".join(missing)}, code="unanalysed"
        )
