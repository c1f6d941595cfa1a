"""Check sheets as facts: the newest signed check of each, and what voids it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from django.db.models import OuterRef

from facility.compute import facts as f
from facility.gathered import Row, Scope, branch, current, minute_down, newest
from facility.models import Check, CheckResult, CheckSheet, CheckState

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from facility.compute.instants import Instant

SHEET = "sheet"


class SheetRow(NamedTuple):
    """A check sheet with its newest signed check, if any."""

    chamber: int
    pk: int
    key: str
    title: str
    newest: Row | None

    @property
    def signed(self) -> SignedRow | None:
        """The newest signed check."""
        return None if self.newest is None else SignedRow._make(self.newest)


class SignedRow(NamedTuple):
    """A signed check."""

    pk: int
    signed_at: str
    result: Any
    signed_by: str
    number: int


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return the current sheets of the chambers, each with its newest signed check."""
    signed = (
        current(Check)
        .filter(sheet=OuterRef("pk"), state=CheckState.SIGNED, signed_at__lte=scope.at)
        .order_by("-signed_at", "-id")
    )
    return [
        branch(
            SHEET, current(CheckSheet).filter(chamber__in=scope.chambers),
            "chamber_id", "pk", "key", "title",
            newest(signed, "pk", "signed_at", "result", "signed_by", "number"),
        )
    ]  # fmt: skip


def check_facts(sheet: SheetRow, opened: tuple[Instant, ...]) -> f.Check:
    """Turn a sheet's newest signed check into facts.

    A check in which something could not be read is no pass: as if the chamber had been
    opened when it was signed, it is not known until the next one.
    """
    signed = sheet.signed
    if signed is None:
        return f.Check((), opened)
    at = minute_down(signed.signed_at)
    if signed.result == CheckResult.UNREAD:
        return f.Check((f.SignedCheck(at, "passed"),), (*opened, at))
    return f.Check((f.SignedCheck(at, signed.result),), opened)
