"""Everything the ground floor stores."""

from facility.models.base import Entry, Kept, KeptQuerySet
from facility.models.calendar import CalendarFeed, FeedSort, ShutDown
from facility.models.event import Event
from facility.models.evidence import Evidence
from facility.models.flag import Flag
from facility.models.fleet import FleetState, Told
from facility.models.house import HouseRule
from facility.models.job import Heartbeat, Job
from facility.models.notice import Delivery, Notice, NoticeHour, NoticeKind, NoticeMute, NoticeWay, Snooze, Way
from facility.models.pack import Checkpoint, KeyUse, Pack, PackState, SigningKey, Volume
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
from facility.models.second_factor import FactorSort, SecondFactor
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
from facility.models.visit import FindingAnswer, Inspection, ReadingLink, VisitFinding

__all__ = [
    "Answer", "CalendarFeed", "Chamber", "Check", "CheckResult", "CheckSheet", "CheckState", "Checkpoint",
    "Contact", "ContactKind", "Delivery", "Drill", "DrillKind", "DrillPart", "DutyPeriod", "Entry", "Event",
    "Evidence", "FactorSort", "FeedSort", "FindingAnswer", "FitDeclared", "Flag", "FleetState", "HandOver", "Heartbeat",
    "HouseRule", "Inspection", "Job", "Kept", "KeptQuerySet", "KeyUse", "LightMode", "Lock", "LockKind",
    "MedicalFitness", "MedicalOutcome", "Membership", "Notice", "NoticeHour", "NoticeKind", "NoticeMute",
    "NoticeWay", "Occasion", "Organisation", "Outcome", "Pack", "PackState", "Person", "PressureUnit", "Procedure",
    "ProcedureRead", "QualificationHeld", "QualificationKind", "ReadingLink", "SecondFactor", "SheetVersion",
    "ShutDown", "Signature", "SigningKey", "Site", "SiteRole", "Snooze", "Told", "User", "VisitFinding", "Volume",
    "VolumeUnit", "Way",
]  # fmt: skip
