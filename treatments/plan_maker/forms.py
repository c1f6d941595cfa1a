"""What is asked of a table: chamber, party, extensions, and the figures of the house."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import NumberField
from facility.models import Chamber
from treatments.compute.plan_asking import Asking
from treatments.compute.tables import MOST_MINUTES
from treatments.plan_maker.inputs import suggested

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.http import QueryDict

    from facility.models import Site
    from treatments.compute.tables import Table
    from treatments.table_book.tables import TableInForce

#: common practice, no source: beyond these a number is a slip of the keyboard
MOST_PEOPLE, MOST_FILLS, MOST_ACFM, MOST_PERCENT = 50, 200, 50, 500
FLAGS = ("previous", "dump")
COUNTS = ("patients", "tenders", "outer_fills", "medical_fills")
NUMBERS = ("minute_volume", "emergency_minutes", "emergency_volume", "reserve_percent")


def _number(label: Any, most: float, **more: Any) -> NumberField:
    return NumberField(label=label, min_value=0, max_value=most, max_digits=9, decimal_places=3, **more)


def _count(label: Any, most: int, **more: Any) -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=0, max_value=most, **more)


class PlanMakerForm(forms.Form):
    """What a plan is worked out from. Nothing of it is stored."""

    sent = forms.CharField(widget=forms.HiddenInput, initial="1", required=False)
    old = forms.IntegerField(widget=forms.HiddenInput, required=False)
    table = forms.ChoiceField(label=gettext_lazy("Treatment table"))
    chamber = forms.ModelChoiceField(Chamber.objects.none(), label=gettext_lazy("Chamber"), empty_label=None)
    patients = _count(gettext_lazy("Patients"), MOST_PEOPLE)
    tenders = _count(gettext_lazy("Tenders inside"), MOST_PEOPLE)
    previous = forms.BooleanField(
        label=gettext_lazy("A tender may have been under pressure shortly before: more oxygen is owed"), required=False
    )
    dump = forms.BooleanField(label=gettext_lazy("Exhaled oxygen goes overboard by a dump"), required=False)
    outer_fills = _count(gettext_lazy("Times that the outer lock is filled"), MOST_FILLS)
    medical_fills = _count(gettext_lazy("Times that the medical lock is filled"), MOST_FILLS)
    minute_volume = _number(gettext_lazy("Oxygen of one person by mask, acfm"), MOST_ACFM)
    tender_minutes = _number(
        gettext_lazy("Oxygen of each tender before surfacing, min"), MOST_MINUTES, required=False,
        help_text=gettext_lazy("Empty: as the handbook states. Needed where it states none; never less than it."),
    )  # fmt: skip
    emergency_minutes = _number(gettext_lazy("Emergency air by mask, min"), MOST_MINUTES)
    emergency_volume = _number(gettext_lazy("Emergency air of one person, acfm"), MOST_ACFM)
    reserve_percent = _number(gettext_lazy("Reserve, % of the demand"), MOST_PERCENT)

    def open_at(self, site: Site, tables: Sequence[TableInForce], chosen: Table | None) -> None:
        """Limit the choices to the site, and ask for the extensions that the chosen table allows."""
        fields: Any = self.fields
        names = [(one.table.key, f"{one.table.key}: {one.table.title}") for one in tables]
        fields["table"].choices = [("", _("choose a table")), *names]
        fields["chamber"].queryset = site.chambers.filter(retired_at=None)
        for one in chosen.extensions if chosen else ():
            words = _("Extensions allowed for at %(depth)g fsw, of %(n)d")
            fields[at_depth(one.depth_fsw)] = _count(
                words % {"depth": one.depth_fsw, "n": one.allowed}, one.allowed,
                help_text=_("More is not stated: ask the physician."),
            )  # fmt: skip
        self.order_fields(["sent", "old", "table", "chamber", "patients", "tenders", *self.extension_names()])

    def extension_names(self) -> list[str]:
        """Return the names of the fields of extensions."""
        return [name for name in self.fields if name.startswith("at_")]

    def asking(self, table: Table) -> Asking:
        """Return what was typed."""
        typed = self.cleaned_data
        minutes = typed["tender_minutes"]
        counts: dict[str, Any] = {name: typed[name] for name in (*COUNTS, *FLAGS)}
        numbers: dict[str, Any] = {name: float(typed[name]) for name in NUMBERS}
        return Asking(
            extensions={one.depth_fsw: typed[at_depth(one.depth_fsw)] for one in table.extensions},
            tender_minutes=None if minutes is None else float(minutes), **counts, **numbers,
        )  # fmt: skip


def at_depth(depth_fsw: float) -> str:
    """Return the name of the field of the extensions at a depth.

    >>> at_depth(60.0), at_depth(46.2)
    ('at_60', 'at_46_2')
    """
    return f"at_{depth_fsw:g}".replace(".", "_")


def as_query(asking: Asking) -> dict[str, str]:
    """Return what is asked for as it stands in the address of the page."""
    found = {name: str(getattr(asking, name)) for name in COUNTS}
    found |= {name: f"{getattr(asking, name):g}" for name in NUMBERS}
    found |= {name: "on" for name in FLAGS if getattr(asking, name)}
    found |= {at_depth(depth): str(count) for depth, count in asking.extensions.items()}
    if asking.tender_minutes is not None:
        found["tender_minutes"] = f"{asking.tender_minutes:g}"
    return found | {"sent": "1"}


def completed(query: QueryDict, table: Table | None, chamber: Chamber | None) -> Mapping[str, Any]:
    """Return what was asked for, with the suggestion wherever the address says nothing."""
    found: dict[str, Any] = {"chamber": str(chamber.pk)} if chamber else {}
    if table is not None:
        start = as_query(suggested(table))
        if "sent" in query:
            start = {name: value for name, value in start.items() if name not in FLAGS}
        found |= start
    return found | {name: query[name] for name in query}
