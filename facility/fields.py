"""Form fields for what is typed: days, instants in the site's zone, numbers."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from facility.compute import typed
from facility.compute.typed import Refusal, TypedError

if TYPE_CHECKING:
    from collections.abc import Callable

DAY_EXAMPLE = _("For example 27 Nov 2026 or 2026-11-27.")
INSTANT_EXAMPLE = _("For example 27 Nov 2026 18:00, in the site's time zone %(zone)s.")
WORDS = {
    Refusal.NOT_A_DAY: _("“%(text)s” is not a day. Type it as 27 Nov 2026 or 2026-11-27."),
    Refusal.TWO_ORDERS: _(
        "“%(text)s” has two readings, since day and month stand in figures. Type it as 27 Nov 2026 or 2026-11-27."
    ),
    Refusal.NO_SUCH_DAY: _("“%(text)s”: the calendar has no such day. Type a day such as 27 Nov 2026."),
    Refusal.FAR_OFF: _("“%(text)s”: the year must lie from 1900 to 2199."),
    Refusal.NOT_AN_INSTANT: _("“%(text)s” is not a day and time. Type it as 27 Nov 2026 18:00."),
    Refusal.SKIPPED: _("“%(text)s”: the clocks skip this time on that day. Type a time before or after the change."),
    Refusal.TWICE: _(
        "“%(text)s”: the clocks show this time twice on that day. Type the offset behind it, such as +01:00."
    ),
    Refusal.NOT_A_NUMBER: _("“%(text)s” is not a number. Type it as 12.5 or 12,5."),
    Refusal.GROUPED: _("“%(text)s” has a thousand separator or may be read as one. Type 1234 or 1.234 or 1,2340."),
}


def _take(read: Callable[[str], Any], text: str) -> Any:
    """Return what ``read`` makes of ``text``. Errors: ValidationError in words."""
    try:
        return read(text)
    except TypedError as error:
        raise ValidationError(WORDS[error.refusal], code=str(error.refusal), params={"text": error.text}) from None


def day_text(value: date) -> str:
    """Return a day as the pages write it: 27 Nov 2026."""
    return f"{value.day} {value:%b} {value.year}"


class DayField(forms.Field):
    """One line that takes 27 Nov 2026 or 2026-11-27."""

    widget = forms.TextInput

    def __init__(self, **options: Any) -> None:
        options["help_text"] = _joined(options.get("help_text"), DAY_EXAMPLE)
        super().__init__(**options)

    def to_python(self, value: Any) -> date | None:
        if value in self.empty_values:
            return None
        if isinstance(value, date):
            return value
        result: date = _take(typed.day, str(value))
        return result

    def prepare_value(self, value: Any) -> Any:
        return day_text(value) if isinstance(value, date) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(self.prepare_value(initial) != data)


class InstantField(forms.Field):
    """One line that takes 27 Nov 2026 18:00 in the site's zone; the result is UTC."""

    widget = forms.TextInput

    def __init__(self, *, zone: str = "UTC", **options: Any) -> None:
        self.own_help = options.get("help_text")
        super().__init__(**options)
        self.set_zone(zone)

    def set_zone(self, name: str) -> None:
        """Read and show times in this zone."""
        self.zone = ZoneInfo(name)
        self.help_text = _joined(self.own_help, str(INSTANT_EXAMPLE) % {"zone": name})

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value
        result: datetime = _take(lambda text: typed.instant(text, self.zone), str(value))
        return result

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, datetime):
            return value
        local = value.astimezone(self.zone)
        return f"{day_text(local)} {local:%H:%M}"

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(self.prepare_value(initial) != data)


class NumberField(forms.DecimalField):
    """A number with a decimal comma or point, refused with a thousand separator."""

    widget = forms.TextInput

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        if isinstance(value, Decimal | int):
            return super().to_python(value)
        return super().to_python(_take(typed.number, str(value)))

    def prepare_value(self, value: Any) -> Any:
        return f"{value:f}" if isinstance(value, Decimal) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "inputmode": "decimal", "autocomplete": "off"}


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Days of the week, ticked; the result is their ISO 8601 numbers, 1 Monday to 7 Sunday."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **options: Any) -> None:
        options |= {"coerce": int, "empty_value": [], "choices": [(day + 1, name) for day, name in WEEKDAYS.items()]}
        super().__init__(**options)


def _joined(first: Any, second: Any) -> str:
    return f"{first} {second}" if first else str(second)


def refuse(form: forms.BaseForm, error: ValidationError) -> None:
    """Show what a service refused, beside the field where the form has it."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, found in error.error_dict.items():
        form.add_error(name if name in form.fields else None, [text for one in found for text in one.messages])


def nothing_to_choose(form: forms.BaseForm) -> list[str]:
    """Return the labels of choices among records of which there are none yet: those that must be made, else all."""
    fields = [field for field in form.fields.values() if isinstance(field, forms.ModelChoiceField)]
    empty = [field for field in fields if field.queryset is not None and not field.queryset.exists()]
    needed = [str(field.label) for field in empty if field.required]
    return needed or ([str(field.label) for field in empty] if empty and len(empty) == len(fields) else [])
