"""Forms of plans and needs: plain repeated rows that work without a script."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.db.models import Q
from django.forms import BaseFormSet, formset_factory
from django.utils.translation import gettext_lazy as _

from facility.fields import InstantField, NumberField
from facility.models import CheckSheet, QualificationKind
from maintenance.models import Equipment, Gas, GasBank
from treatments.models import Need, Plan
from treatments.services import Members, known_tables

if TYPE_CHECKING:
    from facility.models import Chamber, Site

SPARE_ROWS = 2


class ExtensionForm(forms.Form):
    """One extension of the table."""

    minutes = forms.IntegerField(label=_("Minutes each"), required=False, min_value=0)
    allowed = forms.IntegerField(label=_("How many are allowed for"), required=False, min_value=0)

    def to_json(self) -> dict[str, Any] | None:
        """Return the row as stored; nothing for an empty one."""
        typed = self.cleaned_data
        if typed.get("minutes") is None and typed.get("allowed") is None:
            return None
        return {"minutes": typed.get("minutes"), "allowed": typed.get("allowed")}


class RoleForm(forms.Form):
    """One role of the crew."""

    role = forms.CharField(label=_("Role"), max_length=60, required=False)
    count = forms.IntegerField(label=_("People"), required=False, min_value=0)
    qualifications = forms.MultipleChoiceField(
        label=_("Qualifications asked for"), required=False, widget=forms.CheckboxSelectMultiple
    )
    medical = forms.BooleanField(label=_("Medical fitness asked for"), required=False)
    start = forms.IntegerField(label=_("From minute"), required=False, min_value=0)
    end = forms.IntegerField(label=_("To minute (empty: to the end)"), required=False, min_value=0)

    def __init__(self, *args: Any, kinds: list[tuple[str, str]], **options: Any) -> None:
        super().__init__(*args, **options)
        choices: Any = self.fields["qualifications"]
        choices.choices = kinds

    def to_json(self) -> dict[str, Any] | None:
        """Return the row as stored; nothing for an empty one."""
        typed = self.cleaned_data
        names = ("role", "count", "qualifications", "medical", "start", "end")
        if not any(typed.get(name) not in (None, "", [], False) for name in names):
            return None
        return {
            "role": typed.get("role", ""), "count": 1 if typed.get("count") is None else typed["count"],
            "qualifications": list(typed.get("qualifications", [])), "medical": bool(typed.get("medical")),
            "from": typed.get("start") or 0, "to": typed.get("end"),
        }  # fmt: skip


ExtensionRows = formset_factory(ExtensionForm, extra=SPARE_ROWS, max_num=40, absolute_max=60)
RoleRows = formset_factory(RoleForm, extra=SPARE_ROWS, max_num=40, absolute_max=60)


class PlanForm(forms.ModelForm[Plan]):
    """The single values of a plan; its rows stand beside it."""

    in_force_from = InstantField(label=_("In force from"))
    reason = forms.CharField(label=_("Reason of this version"), max_length=500)
    table = forms.ChoiceField(
        label=_("Treatment table that a run of it follows"), required=False,
        help_text=_("A run keeps it as on the day when it is opened. Its minutes here stay those that you type below."),
    )  # fmt: skip

    class Meta:
        model = Plan
        fields = [
            "chamber", "key", "name", "party", "place", "table", "table_min", "margin_min", "wait_min", "crew_waivable", "needs",
            "source", "approved_by", "in_force_from",
        ]  # fmt: skip
        widgets = {"needs": forms.CheckboxSelectMultiple}

    def open_at(self, site: Site, old: Plan | None) -> None:
        """Limit the choices to the site; a new version keeps the chamber and the key of the old one."""
        fields: Any = self.fields
        fields["in_force_from"].set_zone(site.zone)
        fields["table"].choices = [("", "–"), *((key, f"{key}: {name}") for key, name in known_tables(site).items())]  # noqa: RUF001
        for gas in Gas.values:
            stored = (self.instance.gas or {}).get(gas, {})
            for part, label in (
                ("demand", _("%(gas)s, demand of one run, L")),
                ("reserve", _("%(gas)s, reserve that must be left, L")),
            ):
                self.fields[f"{gas}_{part}"] = NumberField(
                    label=label % {"gas": gas}, required=False, min_value=0, decimal_places=0, max_digits=8,
                    initial=stored.get(part), help_text=_("Litres at 15 °C and 1 atm."),
                )  # fmt: skip
        needs = Need.objects.filter(chamber__site=site, retired_at=None).select_related("chamber")
        if old is not None:
            del self.fields["chamber"], self.fields["key"]
            fields["needs"].queryset = needs.filter(chamber=old.chamber_id)
        else:
            fields["chamber"].queryset = site.chambers.filter(retired_at=None)
            fields["needs"].queryset = needs

    def gas_json(self) -> dict[str, Any]:
        """Return what was typed for each gas as stored; a gas without a demand is left out."""
        found = {}
        for gas in Gas.values:
            demand, reserve = self.cleaned_data.get(f"{gas}_demand"), self.cleaned_data.get(f"{gas}_reserve")
            if demand is not None or reserve is not None:
                found[gas] = {"demand": int(demand or 0), "reserve": int(reserve or 0)}
        return found


class NeedForm(forms.ModelForm[Need]):
    """A need with its members."""

    equipment = forms.ModelMultipleChoiceField(
        Equipment.objects.none(), label=_("Members: equipment"), required=False, widget=forms.CheckboxSelectMultiple
    )
    banks = forms.ModelMultipleChoiceField(
        GasBank.objects.none(), label=_("Members: gas banks"), required=False, widget=forms.CheckboxSelectMultiple
    )
    sheets = forms.ModelMultipleChoiceField(
        CheckSheet.objects.none(), label=_("Members: check sheets"), required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Need
        fields = ["chamber", "key", "name", "k", "from_min", "to_min", "effect", "waivable", "gas", "source", "lift"]

    def open_at(self, site: Site, members: Members | None) -> None:
        """Limit the choices to the site; a need in place keeps its chamber and key."""
        fields: Any = self.fields
        chamber: Chamber | None = None
        if members is None:
            fields["chamber"].queryset = site.chambers.filter(retired_at=None)
            members = Members()
        else:
            chamber = self.instance.chamber
            del self.fields["chamber"], self.fields["key"]
            self.fields["reason"] = forms.CharField(label=_("Reason of this change"), max_length=500)
            self.fields["shown_version"] = forms.IntegerField(
                widget=forms.HiddenInput, initial=self.instance.row_version
            )
        for name, model, chosen in (
            ("equipment", Equipment, members.equipment), ("banks", GasBank, members.banks), ("sheets", CheckSheet, members.sheets),
        ):  # fmt: skip
            rows: Any = model
            to_site = Q(chamber__site=site) if model is CheckSheet else Q(site=site)
            near = Q(chamber=chamber) | Q(chamber=None) if chamber is not None else Q()
            fields[name].queryset = rows.objects.filter(to_site & near & Q(retired_at=None) | Q(pk__in=chosen))
            fields[name].initial = list(chosen)

    def members(self) -> Members:
        """Return the chosen members."""
        typed = self.cleaned_data
        return Members(*(tuple(row.pk for row in typed[name]) for name in ("equipment", "banks", "sheets")))


class RetireForm(forms.Form):
    """Why something no longer counts."""

    reason = forms.CharField(label=_("Reason"), max_length=500)


def kind_choices(site: Site) -> list[tuple[str, str]]:
    """Return key and name of each kind of qualification of the site's organisation."""
    rows = QualificationKind.objects.filter(organisation=site.organisation_id, retired_at=None)
    return [(row.key, row.name) for row in rows.order_by("name")]


def rows_of(formset: BaseFormSet[Any]) -> list[dict[str, Any]]:
    """Return the rows of a valid formset that are not empty."""
    return [row for form in formset.forms if (row := form.to_json()) is not None]
