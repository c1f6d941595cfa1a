"""Plans, needs, waivers and runs."""

from treatments.models.plan import Need, NeedEffect, NeedMember, Plan, Waiver
from treatments.models.run import PressureWait, Purpose, Run

__all__ = ["Need", "NeedEffect", "NeedMember", "Plan", "PressureWait", "Purpose", "Run", "Waiver"]
