"""What a run computes, from its rows: the one door for pages, the log screen, documents and the ledger."""

from __future__ import annotations

from treatments.figures.shape import (
    Air,
    BankUsed,
    Co2Seen,
    Conformity,
    DepthNow,
    Dose,
    Figures,
    GasUsed,
    PersonFigures,
    PlannedAt,
    RateDone,
    Recorded,
    StopDone,
    TableUsed,
    Temperature,
    TenderOwed,
    Ventilation,
)

__all__ = [
    "Air", "BankUsed", "Co2Seen", "Conformity", "DepthNow", "Dose", "Figures", "GasUsed", "PersonFigures", "PlannedAt",
    "RateDone", "Recorded", "StopDone", "TableUsed", "Temperature", "TenderOwed", "Ventilation",
]  # fmt: skip
