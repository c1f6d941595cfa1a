"""Form of a clock's comparison with a time signal."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import NumberField
from maintenance.calibrating.forms import ChoiceForm, as_typed, positive
from maintenance.worksheets.calibration import LIMIT_KINDS


class ClockForm(ChoiceForm):
    """A clock compared with a time signal at two times: how much it gained or lost in between."""

    compared_with = forms.CharField(
        label=gettext_lazy("Compared with"), max_length=150, help_text=gettext_lazy("For example a time signal.")
    )
    span_h = NumberField(
        label=gettext_lazy("Hours between both comparisons"), min_value=Decimal("0.01"), max_value=8760
    )
    first_s = NumberField(label=gettext_lazy("First: seconds fast"), help_text=gettext_lazy("Slow: minus."))
    last_s = NumberField(label=gettext_lazy("Second: seconds fast"), help_text=gettext_lazy("Slow: minus."))
    left_first_s = NumberField(label=gettext_lazy("As left, first: seconds fast (optional)"), required=False)
    left_last_s = NumberField(label=gettext_lazy("As left, second: seconds fast (optional)"), required=False)
    limit_s = positive(gettext_lazy("Largest gain or loss, s"), required=True)
    limit_span_h = NumberField(label=gettext_lazy("in so many hours"), min_value=Decimal("0.01"), max_value=8760)
    reference_expanded = positive(gettext_lazy("U of the time signal as read, s"), required=True)
    resolution = positive(gettext_lazy("Resolution, s"), required=True)

    field_order = ("done_on", "done_by", "rule", "compared_with", "span_h", "first_s", "last_s")

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = self.cleaned_data
        if (typed.get("left_first_s") is None) != (typed.get("left_last_s") is None):
            missing = "left_first_s" if typed.get("left_first_s") is None else "left_last_s"
            self.add_error(missing, _("Missing: a run as left needs both comparisons."))
        if typed.get("limit_s") == 0:
            self.add_error("limit_s", _("0 s: the limit must be more than 0."))
        if not self.errors:
            limit = typed["limit_s"] * typed["span_h"] / typed["limit_span_h"]
            typed["limit_by"], typed["own_limit"] = LIMIT_KINDS[2], limit.quantize(Decimal("0.0001"))
        return typed

    def choices_made(self) -> dict[str, str]:
        typed = self.cleaned_data
        more = {name: as_typed(typed[name]) for name in ("limit_s", "limit_span_h", "span_h", "first_s", "last_s")}
        return super().choices_made() | more | {"compared_with": typed["compared_with"]}

    def runs(self) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
        """Return both runs: one point each, the gain over the span; a constant offset is no drift."""
        typed = self.cleaned_data
        found = [{"reference": "0", "up": str(typed["last_s"] - typed["first_s"])}]
        if typed.get("left_first_s") is None:
            return found, []
        return found, [{"reference": "0", "up": str(typed["left_last_s"] - typed["left_first_s"])}]

    def means(self) -> dict[str, Any]:
        """Return what the uncertainty is made of, in seconds."""
        typed = self.cleaned_data
        return {"reference_expanded": as_typed(typed["reference_expanded"]), "reference_k": "2",
                "resolution": as_typed(typed["resolution"]), "zero_shift": "", "others": []}  # fmt: skip
