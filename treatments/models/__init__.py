"""Plans, needs, waivers, tables, runs with their log, and reports."""

from treatments.models.call import CallAnswer, CallOut, CallPerson
from treatments.models.log import (
    ClinicalText,
    Exposure,
    LogEntry,
    LogKind,
    RecordedProfile,
    RunSignature,
    SignatureOf,
)
from treatments.models.patient import Patient
from treatments.models.plan import Need, NeedEffect, NeedMember, Plan, Waiver
from treatments.models.report import Freeze, NearMiss, NearMissAction
from treatments.models.run import (
    Asked,
    PressureWait,
    Purpose,
    Run,
    RunPlace,
    RunRole,
    Screening,
    ScreeningBefore,
)
from treatments.models.table import SiteTable, TableConfirmation

__all__ = [
    "Asked", "CallAnswer", "CallOut", "CallPerson", "ClinicalText", "Exposure", "Freeze", "LogEntry", "LogKind", "NearMiss", "NearMissAction", "Need",
    "NeedEffect", "NeedMember", "Patient", "Plan", "PressureWait", "Purpose", "RecordedProfile", "Run", "RunPlace",
    "RunRole", "RunSignature", "Screening", "ScreeningBefore", "SignatureOf", "SiteTable", "TableConfirmation", "Waiver",
]  # fmt: skip
