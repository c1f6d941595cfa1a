"""Forms of a run: its start and its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import InstantField
from facility.models import Lock, Person
from treatments.models import Plan, Purpose, RunRole
from treatments.opening.places import NewPlace
from treatments.opening.services import NO_TABLE, Opening
from treatments.table_book.tables import all_tables

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Site

CLOCK_TOLERANCE_S = 300
MOST_PATIENTS = 12


class PlanChoice(forms.ModelChoiceField[Plan]):
    """Plans named with their party and chamber."""

    def label_from_instance(self, obj: Plan) -> str:
        return f"{obj.name}, {obj.party}, {obj.chamber.name}"


class PersonChoice(forms.ModelChoiceField[Person]):
    """One of the crew."""


class _AtField(forms.Form):
    """A form with one instant that is not in the future."""

    at = InstantField()

    def open_at(self, site: Site, now: datetime) -> None:
        """Read times in the site's zone."""
        self.now = now
        field: Any = self.fields["at"]
        field.set_zone(site.zone)

    def clean_at(self) -> datetime | None:
        at: datetime | None = self.cleaned_data["at"]
        if at is not None and (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(_("This lies after now. Give the time when it happened."))
        return at


class StartForm(_AtField):
    """What a run is opened with; with a time, that it has left surface already."""

    plan = PlanChoice(Plan.objects.none(), label=gettext_lazy("Plan"))
    table = forms.ChoiceField(
        label=gettext_lazy("Table that is logged against"), required=False,
        help_text=gettext_lazy("Kept with the run as it is today. Deepstead compares; it advises no table."),
    )  # fmt: skip
    purpose = forms.ChoiceField(label=gettext_lazy("Purpose"), choices=Purpose.choices, widget=forms.RadioSelect)
    supervisor = forms.CharField(label=gettext_lazy("Supervisor"), max_length=150)
    panel = PersonChoice(Person.objects.none(), label=gettext_lazy("Panel operator"), required=False)
    log_keeper = PersonChoice(Person.objects.none(), label=gettext_lazy("Log keeper"), required=False)
    tender = PersonChoice(Person.objects.none(), label=gettext_lazy("Inside tender"), required=False)
    second_tender = PersonChoice(Person.objects.none(), label=gettext_lazy("Second inside tender"), required=False)
    patients = forms.IntegerField(
        label=gettext_lazy("Patients"), required=False, min_value=0, max_value=MOST_PATIENTS,
        help_text=gettext_lazy("How many. They are called patient 1, patient 2; who they are goes on a page of its own."),
    )  # fmt: skip
    lock = forms.ModelChoiceField(
        Lock.objects.none(), label=gettext_lazy("Lock, if only one is used"), required=False
    )  # fmt: skip
    at = InstantField(
        label=gettext_lazy("Has left surface already at"), required=False,
        help_text=gettext_lazy("For a start without preparation. Empty: the run is opened and leaves surface later."),
    )  # fmt: skip
    reason = forms.CharField(
        label=gettext_lazy("If it has left and the plan is Not ready or Not known: why it starts all the same"),
        max_length=500, required=False,
        help_text=gettext_lazy("The run is then marked as outside the house rules, with what stood in the way. Nothing is blocked."),
    )  # fmt: skip

    field_order = (
        "plan", "purpose", "supervisor", "at", "reason", "panel", "log_keeper", "tender", "second_tender", "patients", "table", "lock",
    )  # fmt: skip

    def open_at(self, site: Site, now: datetime) -> None:
        super().open_at(site, now)
        fields: Any = self.fields
        fields["plan"].queryset = Plan.objects.filter(chamber__site=site, retired_at=None).select_related("chamber")
        fields["lock"].queryset = Lock.objects.filter(chamber__site=site, retired_at=None).select_related("chamber")
        for name in ("panel", "log_keeper", "tender", "second_tender"):
            fields[name].queryset = Person.objects.filter(site=site, retired_at=None)
        fields["table"].choices = [
            ("", _("that of the plan")), (NO_TABLE, _("none")),
            *((one.table.key, f"{one.table.key}: {one.table.title}") for one in all_tables(site)),
        ]  # fmt: skip

    def people(self) -> tuple[NewPlace, ...]:
        """Return who is put in the run beside the supervisor."""
        typed = self.cleaned_data
        pairs = [
            (RunRole.PANEL, typed["panel"]), (RunRole.LOG, typed["log_keeper"]),
            (RunRole.TENDER, typed["tender"]), (RunRole.TENDER, typed["second_tender"]),
        ]  # fmt: skip
        crew = [NewPlace(role, person) for role, person in pairs if person is not None]
        return (*crew, *(NewPlace(RunRole.PATIENT) for _number in range(typed["patients"] or 0)))

    def opening(self) -> Opening:
        """Return what was typed."""
        typed = self.cleaned_data
        return Opening(
            typed["plan"], typed["purpose"], typed["supervisor"], typed["table"], typed["lock"], self.people()
        )  # fmt: skip


class LeaveForm(_AtField):
    """That an opened run left surface."""

    at = InstantField(label=gettext_lazy("Left surface at"))
    reason = forms.CharField(
        label=gettext_lazy("If the plan is Not ready or Not known: why the run starts all the same"),
        max_length=500, required=False,
        help_text=gettext_lazy("The run is then marked as outside the house rules. Nothing is blocked; the reason can follow later."),
    )  # fmt: skip


class EndForm(_AtField):
    """How a run ends, and who was inside beside those whom the run knows."""

    at = InstantField(label=gettext_lazy("Reached surface at"))
    inside = forms.ModelMultipleChoiceField(
        Person.objects.none(), label=gettext_lazy("Crew who were inside"), required=False, widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Each of them waits as the plan says before going under pressure again."),
    )  # fmt: skip
    nobody = forms.BooleanField(label=gettext_lazy("Nobody of the crew was inside"), required=False)

    def open_for(self, site: Site, now: datetime, known: list[int]) -> None:
        """Offer the crew without those whom the run knows inside already, by id."""
        self.open_at(site, now)
        self.known = known
        fields: Any = self.fields
        fields["inside"].queryset = Person.objects.filter(site=site, retired_at=None).exclude(pk__in=known)
        if known:
            fields["inside"].label = _("Others of the crew who were inside")
            del self.fields["nobody"]

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.known and bool(typed.get("inside")) == bool(typed.get("nobody")):
            self.add_error("inside", _("Tick who was inside, or that nobody of the crew was: one of the two."))
        return typed
