"""Every kind of file, in the order in which they are taken in: what is referred to comes first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from facility.imports.kinds_checks import CheckFile, HouseRuleFile, LimitFile, SheetFile
from facility.imports.kinds_defects import DefectFile
from facility.imports.kinds_gas import AnalysisFile, BankFile, BankReadingFile, CylinderFile, SupplyFile
from facility.imports.kinds_people import (
    ContactFile,
    DutyFile,
    MedicalFile,
    PersonFile,
    QualificationFile,
    QualificationKindFile,
)
from facility.imports.kinds_plans import NeedFile, PlanFile, PlanGasFile, RoleFile
from facility.imports.kinds_plant import EquipmentFile, IntervalFile, OpeningFile, WorkFile
from facility.imports.kinds_runs import RunFile
from facility.imports.kinds_site import ChamberFile, LockFile, SiteFile
from facility.imports.kinds_upkeep import CounterFile, CounterReadingFile, DeferralFile, HappeningFile

if TYPE_CHECKING:
    from facility.imports.kind import FileKind

KINDS: tuple[FileKind, ...] = (
    SiteFile(), ChamberFile(), LockFile(), PersonFile(), QualificationKindFile(), QualificationFile(), MedicalFile(),
    DutyFile(), ContactFile(), EquipmentFile(), CounterFile(), CounterReadingFile(), IntervalFile(),
    WorkFile(), HappeningFile(), DeferralFile(), BankFile(), CylinderFile(), AnalysisFile(),
    BankReadingFile(), SupplyFile(), HouseRuleFile(), LimitFile(), SheetFile(), CheckFile(), OpeningFile(), NeedFile(), RoleFile(),
    PlanGasFile(), PlanFile(), RunFile(), DefectFile(),
)  # fmt: skip
BY_FILE = {kind.file: kind for kind in KINDS}
