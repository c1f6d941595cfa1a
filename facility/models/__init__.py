"""Everything the ground floor stores."""

from facility.models.base import Entry, Kept, KeptQuerySet
from facility.models.event import Event
from facility.models.evidence import Evidence
from facility.models.flag import Flag
from facility.models.house import HouseRule
from facility.models.job import Heartbeat, Job
from facility.models.people import (
    Contact,
    ContactKind,
    DutyPeriod,
    LightMode,
    MedicalFitness,
    MedicalOutcome,
    Membership,
    Person,
    QualificationHeld,
    QualificationKind,
    SiteRole,
    User,
)
from facility.models.practice import (
    Drill,
    DrillKind,
    DrillPart,
    FitDeclared,
    HandOver,
    Procedure,
    ProcedureRead,
)
from facility.models.sheet import (
    Answer,
    Check,
    CheckResult,
    CheckSheet,
    CheckState,
    Occasion,
    Outcome,
    SheetVersion,
    Signature,
)
from facility.models.site import Chamber, Lock, LockKind, Organisation, PressureUnit, Site, VolumeUnit

__all__ = [
    "Answer", "Chamber", "Check", "CheckResult", "CheckSheet", "CheckState", "Contact", "ContactKind", "Drill",
    "DrillKind", "DrillPart", "DutyPeriod", "Entry", "Event", "Evidence", "FitDeclared", "Flag", "HandOver",
    "Heartbeat", "HouseRule", "Job", "Kept", "KeptQuerySet", "LightMode", "Lock", "LockKind", "MedicalFitness",
    "MedicalOutcome", "Membership", "Occasion", "Organisation", "Outcome", "Person", "PressureUnit",
    "Procedure", "ProcedureRead", "QualificationHeld", "QualificationKind", "SheetVersion", "Signature", "Site",
    "SiteRole", "User", "VolumeUnit",
]  # fmt: skip
