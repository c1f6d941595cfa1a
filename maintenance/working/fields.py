"""The form fields of a sort of work, made from its description."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.compute.typed import TypedError
from facility.fields import WORDS, DayField, NumberField, day_text
from maintenance.compute.plant_tests import day_or_month
from maintenance.working.judging import GOOD, NOT_GOOD, NOT_SEEN
from maintenance.working.kinds import Look, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from maintenance.working.kinds import Detail, KindOfWork

LOOKS = ((GOOD, _("good")), (NOT_GOOD, _("not good")), (NOT_SEEN, _("could not look")))
DIGITS, PLACES = 14, 6
NOTHING = "\u2013"


class DayOrMonthField(forms.Field):
    """One line that takes a day or a month; the result is (day, whether only the month was typed)."""

    widget = forms.TextInput

    def to_python(self, value: Any) -> tuple[date, bool] | None:
        if value in self.empty_values:
            return None
        try:
            return day_or_month(str(value))
        except TypedError as error:
            raise ValidationError(WORDS[error.refusal], code=str(error.refusal), params={"text": value}) from None

    def prepare_value(self, value: Any) -> Any:
        return day_text(value) if hasattr(value, "year") else value


def number_field(label: str, *, required: bool = False, about: str = "") -> NumberField:
    """Return a field for a number of any size that a plant has."""
    return NumberField(label=label, required=required, help_text=about, max_digits=DIGITS, decimal_places=PLACES)


def fields_of(kind: KindOfWork) -> Iterator[tuple[str, str, dict[str, forms.Field]]]:
    """Yield (legend, what to mind, {name: field}) of each group that a sort of work asks for."""
    for wanted in kind.readings:
        if isinstance(wanted, Look):
            yield str(wanted.label), str(wanted.about), {f"r_{wanted.name}": _look(wanted)}
        else:
            yield str(wanted.label), _limits_text(wanted), _reading(wanted)
    for number in range(1, kind.own_readings + 1):
        yield say("Reading %(n)d, where there is one") % {"n": number}, "", _own(number)
    for detail in kind.details:
        yield "", "", {f"d_{detail.name}": detail_field(detail)}


def _look(wanted: Look) -> forms.Field:
    return forms.ChoiceField(label=say("Found"), choices=LOOKS, widget=forms.RadioSelect)


def _reading(wanted: Quantity) -> dict[str, forms.Field]:
    name = f"r_{wanted.name}"
    single = wanted.units[0] if len(wanted.units) == 1 else ""
    label = say("Reading, %(unit)s") % {"unit": single} if single else say("Reading")
    found: dict[str, forms.Field] = {
        name: number_field(label if wanted.needed else say("%(label)s (optional)") % {"label": label})
    }
    if len(wanted.units) > 1:
        units = [(one, one or NOTHING) for one in wanted.units]
        found[f"{name}_unit"] = forms.ChoiceField(label=say("Unit"), choices=units, required=wanted.needed)
    if wanted.limits:
        found[f"{name}_low"] = number_field(say("At least (optional)"))
        found[f"{name}_high"] = number_field(say("At most (optional)"))
    if wanted.needed:
        found[f"{name}_unread"] = forms.BooleanField(label=say("It could not be read"), required=False)
    return found


def _limits_text(wanted: Quantity) -> str:
    said = [str(wanted.about)] if wanted.about else []
    for limit, words in ((wanted.low, say("At least")), (wanted.high, say("At most"))):
        if limit is not None:
            said.append(say("%(words)s %(value)s %(unit)s unless another limit is typed: %(source)s.")
                        % {"words": words, "value": limit.value, "unit": limit.unit, "source": limit.source})  # fmt: skip
    return " ".join(said)


def _own(number: int) -> dict[str, forms.Field]:
    name = f"o_{number}"
    return {
        f"{name}_label": forms.CharField(label=say("What was read (optional)"), max_length=80, required=False),
        f"{name}": number_field(say("Reading (optional)")),
        f"{name}_unit": forms.CharField(label=say("Unit (optional)"), max_length=16, required=False),
        f"{name}_low": number_field(say("At least (optional)")),
        f"{name}_high": number_field(say("At most (optional)")),
        f"{name}_unread": forms.BooleanField(label=say("It could not be read"), required=False),
    }


def detail_field(detail: Detail) -> forms.Field:
    """Return the field of a detail."""
    label = f"{detail.label}, {detail.unit}" if detail.unit else str(detail.label)
    if not detail.needed and detail.sort != "yes":
        label = say("%(label)s (optional)") % {"label": label}
    shared: dict[str, Any] = {"label": label, "required": detail.needed, "help_text": detail.about}
    if detail.sort == "number":
        return NumberField(max_digits=DIGITS, decimal_places=PLACES, **shared)
    if detail.sort == "day":
        return DayField(**shared)
    if detail.sort == "yes":
        return forms.BooleanField(**(shared | {"required": False}))
    if detail.sort == "choice":
        return forms.ChoiceField(choices=[("", NOTHING), *detail.choices], **shared)
    if detail.sort == "lines":
        return forms.CharField(max_length=4000, widget=forms.Textarea(attrs={"rows": 4}), **shared)
    return forms.CharField(max_length=200, **shared)
