"""Everything that upkeep stores."""

from maintenance.models.calibration import Calibration, Recall, RecallAnswer, Reference, ReferenceCertificate
from maintenance.models.equipment import Equipment, EquipmentKind
from maintenance.models.gas import AnalysisResult, BankReading, Cylinder, CylinderAnalysis, Gas, GasBank
from maintenance.models.interval import (
    Anchor,
    Counter,
    CounterReading,
    CounterUnit,
    Deferral,
    Happening,
    HappeningKind,
    IntervalRule,
    MeterReplacement,
    OverdueEffect,
    Standing,
    WindowKind,
)
from maintenance.models.supply import DeliveredCylinder, Delivery, GasSample, QuarantineState, Supply
from maintenance.models.work import (
    Defect,
    DefectEffect,
    Opening,
    Repair,
    WorkKind,
    WorkRecord,
    WorkResult,
)

__all__ = [
    "AnalysisResult", "Anchor", "BankReading", "Calibration", "Counter", "CounterReading", "CounterUnit", "Cylinder",
    "CylinderAnalysis", "Defect", "DefectEffect", "Deferral", "DeliveredCylinder", "Delivery", "Equipment",
    "EquipmentKind", "Gas", "GasBank", "GasSample", "Happening", "HappeningKind", "IntervalRule", "MeterReplacement",
    "Opening", "OverdueEffect", "QuarantineState", "Recall", "RecallAnswer", "Reference", "ReferenceCertificate",
    "Repair", "Standing", "Supply", "WindowKind", "WorkKind", "WorkRecord", "WorkResult",
]  # fmt: skip
