"""The form of a record: typed days, times and numbers, choices of this site only, doubts asked once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.forms import modelform_factory
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField, NumberField, WeekdaysField, day_text
from facility.models import Kept, Organisation
from facility.records.scope import of_site

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.utils.functional import _StrPromise

    from facility.access import Visit
    from facility.records.kinds import RecordKind
    from facility.records.states import Moment

#: a choice must belong to another choice on the same form: field, its own parent, the other field
AGREE = (("lock", "chamber", "chamber"), ("rule", "equipment", "equipment"), ("cylinder", "bank", "bank"))
ALREADY = gettext_lazy("There is such a record already. Correct that one, or change what makes this one different.")
CLOCK_TOLERANCE_S = 300
SURE = "sure"


def field_for(field: models.Field[Any, Any], **options: Any) -> forms.Field | None:
    """Return the form field of a model field; days, times and numbers are typed as text."""
    made = field.formfield(**options)
    if made is None:
        return None
    shared = {"label": made.label, "required": made.required, "help_text": made.help_text, "initial": made.initial}
    if field.name == "weekdays":
        return WeekdaysField(**shared)
    if isinstance(field, models.DateTimeField):
        return InstantField(**shared)
    if isinstance(field, models.DateField):
        return DayField(**shared)
    if isinstance(field, models.DecimalField):
        return NumberField(max_digits=field.max_digits, decimal_places=field.decimal_places,
                           validators=field.validators[:], **shared)  # fmt: skip
    return made


class RecordForm(forms.ModelForm[Kept]):
    """Turns text into a row of one kind. The caller sets kind, visit and moment."""

    kind: RecordKind
    visit: Visit
    moment: Moment

    def open_at(self, kind: RecordKind, visit: Visit, moment: Moment, *, first_account: bool = False) -> None:
        """Limit the choices to the site and read times in its zone; the first account may reach every organisation."""
        self.kind, self.visit, self.moment = kind, visit, moment
        for name, field in self.fields.items():
            if isinstance(field, forms.ModelChoiceField) and field.queryset is not None:
                model: Any = field.queryset.model
                every = first_account and model is Organisation
                rows = model.objects.all() if every else of_site(model, visit.site)
                still = Q(retired_at=None) | Q(pk=getattr(self.instance, f"{name}_id", None))
                field.queryset = rows.filter(still) if issubclass(model, Kept) else rows
            elif isinstance(field, InstantField):
                field.set_zone(visit.site.zone)
            if name == "key" and not field.help_text:
                field.help_text = _("Small letters, figures, dashes. Files, addresses and the log name it by this.")
            if not field.required and not isinstance(field, forms.BooleanField):
                field.label = _("%(label)s (optional)") % {"label": field.label}
        if kind.upload:
            self.fields["upload"] = forms.FileField(
                label=gettext_lazy("Scan or photo of the paper (optional)"), required=False,
                help_text=gettext_lazy("PDF, JPEG or PNG, at most 10 MB. The file is kept as it is."),
            )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        for field in self.kind.past:
            self._refuse_future(field, typed.get(field))
        for field, own, other in AGREE:
            self._refuse_stranger(typed, field, own, other)
        self._ask_doubts(typed)
        return typed

    def _refuse_future(self, field: str, value: Any) -> None:
        if value is None:
            return
        if hasattr(value, "hour"):
            late = (value - self.moment.now).total_seconds() > CLOCK_TOLERANCE_S
            shown = f"{day_text(self.moment.now.astimezone(self.moment.zone))} {self.moment.now.astimezone(self.moment.zone):%H:%M}"
        else:
            late, shown = value > self.moment.today, day_text(self.moment.today)
        if late:
            self.add_error(
                field, _("This lies after now, %(now)s at the site. Give the time when it happened.") % {"now": shown}
            )

    def _refuse_stranger(self, typed: dict[str, Any], field: str, own: str, other: str) -> None:
        chosen, beside = typed.get(field), typed.get(other)
        if field not in self.fields or other not in self.fields or chosen is None:
            return
        if beside is None or getattr(chosen, f"{own}_id") != beside.pk:
            self.add_error(field, _("“%(what)s” does not belong to “%(other)s”. Choose one that does.")
                           % {"what": chosen, "other": beside or "\u2013"})  # fmt: skip

    def _ask_doubts(self, typed: dict[str, Any]) -> None:
        found = self.kind.doubt(typed) if self.kind.doubt else []
        if not found or self.errors:
            return
        token = " ".join(f"{field}={typed[field]}" for field, _words in found)
        if self.data.get(SURE) == token:
            return
        self.fields[SURE] = forms.BooleanField(
            label=gettext_lazy("I looked again: it is as typed."), required=False,
            widget=forms.CheckboxInput(attrs={"value": token}, check_test=lambda value: value == token),
        )  # fmt: skip
        for field, words in found:
            self.add_error(field, _("%(doubt)s Correct it, or tick at the end that it is so.") % {"doubt": words})

    def show_version(self, version: int) -> None:
        """Carry the version that stands now, so that sending the form again is a choice made with it in view."""
        self.data = (
            {**self.data.dict(), "shown_version": str(version)} if isinstance(self.data, QueryDict) else self.data
        )

    def refuse(self, error: ValidationError) -> None:
        """Show what a service refused, beside the field where the form has it."""
        if not hasattr(error, "error_dict"):
            self.add_error(None, error)
            return
        for name, found in error.error_dict.items():
            self.add_error(name if name in self.fields else None, in_words(found))


def in_words(errors: Iterable[ValidationError]) -> list[str | _StrPromise]:
    """Return the sentences of some refusals; a bare constraint name is put into words."""
    said: list[str | _StrPromise] = []
    for error in errors:
        said += [ALREADY if message.startswith("Constraint ") else message for message in error.messages]
    return said


class ReasonForm(forms.Form):
    """Why something is corrected or retired; kept with the record."""

    reason = forms.CharField(
        label=gettext_lazy("Reason"), max_length=500, help_text=gettext_lazy("One sentence. It stays with the record.")
    )


class SecondLookForm(forms.Form):
    """A second person reads the days off the paper again, without seeing what the first one typed."""

    issued_on = DayField(label=gettext_lazy("Issued on, as you read it"))
    expires_on = DayField(label=gettext_lazy("Expires on, as you read it (empty: no end is printed)"), required=False)


def form_class(kind: RecordKind, *, correcting: bool) -> type[RecordForm]:
    """Return the form of a kind; a correction also asks for the reason and carries the version shown."""
    base = CorrectionForm if correcting else RecordForm
    made: Any = modelform_factory(kind.model, form=base, fields=list(kind.fields), formfield_callback=field_for)
    return made  # type: ignore[no-any-return]  # a subclass of base


class CorrectionForm(RecordForm):
    """A record's form with the reason of the correction."""

    reason = forms.CharField(
        label=gettext_lazy("Reason of this correction"), max_length=500,
        help_text=gettext_lazy("One sentence. The old value stays visible beside it."),
    )  # fmt: skip
    shown_version = forms.IntegerField(widget=forms.HiddenInput)
