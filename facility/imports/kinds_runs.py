"""Runs of the past, from the chamber's log."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import services
from facility.access import Act
from facility.imports.cells import CellError, Column, Reading, choice, instant, reference, text, whole
from facility.imports.kind import FileKind
from facility.imports.kinds_site import CHAMBER
from treatments.models import Purpose, Run
from treatments.services import planned_end

if TYPE_CHECKING:
    from facility.models import Kept, Site

MOST_RUNS = 999_999


class RunFile(FileKind):
    file = "runs.csv"
    model = Run
    about = gettext_lazy("Runs of the past. A run that is on is begun on its page, not here.")
    act = Act.RUN
    key = ("chamber", "number")
    columns = (
        CHAMBER,
        Column("number", whole(1, MOST_RUNS), gettext_lazy("number in the chamber's log"), required=True),
        Column("purpose", choice(Purpose), gettext_lazy("why it was made"), ", ".join(Purpose.values), required=True),
        Column("plan", reference("plans.csv", "chamber"), gettext_lazy("key of the plan"), required=True),
        Column("started_at", instant, gettext_lazy("left surface, local time"), required=True),
        Column("ended_at", instant, gettext_lazy("reached surface, local time"), required=True),
        Column("supervisor", text(150), gettext_lazy("who supervised"), required=True),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site", "plan__chamber__site")

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        """A run keeps the version of the plan it was made by; only another plan is a difference."""
        found = super().differences(stored, reading)
        if "plan" in found and stored.plan.key == reading.values["plan"].key:
            del found["plan"]
        return found

    def check(self, reading: Reading) -> None:
        if reading.values["ended_at"] <= reading.values["started_at"]:
            raise CellError(
                _("does not come after the start of the run"), "", _("Write both as in the log."), "ended_at"
            )

    def add(self, reading: Reading) -> Kept:
        fields = self.fields(reading)
        run = Run(**fields, planned_end_at=planned_end(fields["plan"], fields["started_at"]))
        return services.add(run, by=reading.store.by, action="imported", reason="from the log", late=True)
