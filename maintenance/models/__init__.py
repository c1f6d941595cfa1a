"""Everything that upkeep stores."""

from maintenance.models.equipment import (
    Defect,
    DefectEffect,
    Equipment,
    EquipmentKind,
    IntervalRule,
    Opening,
    Standing,
    WorkRecord,
    WorkResult,
)
from maintenance.models.gas import AnalysisResult, BankReading, Cylinder, CylinderAnalysis, Gas, GasBank

__all__ = [
    "AnalysisResult", "BankReading", "Cylinder", "CylinderAnalysis", "Defect", "DefectEffect", "Equipment",
    "EquipmentKind", "Gas", "GasBank", "IntervalRule", "Opening", "Standing", "WorkRecord", "WorkResult",
]  # fmt: skip
