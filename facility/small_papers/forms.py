"""What is asked before a paper is printed."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.report.pages import PAGES
from facility.report.scope import A4


class PrintForm(forms.Form):
    """The sheet of paper, and whether the box's seal goes on it. Each paper adds what it asks itself."""

    size = forms.ChoiceField(label=_("Sheet"), choices=[(name, name) for name in PAGES], initial=A4)
    seal = forms.BooleanField(
        label=_("With the seal of this box"), required=False,
        help_text=_("For a paper that leaves the house. It takes a moment longer."),
    )  # fmt: skip

    field_order = ()

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # as forms.Form takes them
        own = [name for name in self.fields if name not in PrintForm.base_fields]
        self.order_fields([*own, *PrintForm.base_fields])
