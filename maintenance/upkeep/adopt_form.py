"""Taking on a rule of a code: for which items, with which interval, and why if the house differs or had a choice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from maintenance.models import Equipment, EquipmentKind, IntervalRule
from maintenance.upkeep.adopting import conflicting, terms_from, texts_from
from maintenance.upkeep.rule_form import RuleForm

if TYPE_CHECKING:
    from facility.models import Site
    from maintenance.compute.requirements import Requirement

KINDS_OF = {
    "chamber": ("vessel",), "pressure vessel": ("store", "vessel"), "window": ("viewport",), "door": ("door_seal",),
    "relief valve": ("relief_valve",), "compressor": ("compressor",), "cylinder": ("store",), "hose": ("hose",),
    "mask": ("mask", "regulator"), "regulator": ("regulator",), "oxygen pipework": ("valve", "hose"),
    "gauge": ("depth_gauge", "pressure_gauge"), "master gauge": ("depth_gauge", "pressure_gauge"), "clock": ("clock",),
    "analyser": ("analyser",), "fire": ("fire",), "extinguisher": ("fire",), "electrical": ("electrical",),
    "alarm": ("alarm",), "kit": ("medical_kit",), "drug": ("medical_kit",),
}  # fmt: skip
"""Kinds of items that a subject of the rules is about; every other item may be chosen too."""


class AdoptForm(RuleForm):
    """The terms of a rule for some items."""

    items = forms.ModelMultipleChoiceField(
        Equipment.objects.none(), label=gettext_lazy("For these items"), widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Choose at least one item that this rule is to stand on.")},
    )  # fmt: skip

    class Meta(RuleForm.Meta):
        fields = [
            "months", "days", "anchor", "window_kind", "window_months", "window_days", "early_months", "early_days",
            "window_percent", "counter", "count_every", "count_life", "count_at_fitting", "life_months",
            "life_begins_on", "triggers", "defer_months", "hard_stop_months", "effect", "counts", "price", "currency",
            "house_reason", "approved_by",
        ]  # fmt: skip

    @classmethod
    def for_rule(cls, rule: Requirement, data: Any) -> AdoptForm:
        """Return the form filled in with what the rule says."""
        return cls(data, instance=IntervalRule(**texts_from(rule) | terms_from(rule)))

    def offer(self, rule: Requirement, site: Site, *, every: bool) -> None:
        """Offer the items that the rule is about, or every item of the site."""
        self.rule = rule
        self.open_at(site)
        items = Equipment.objects.filter(site=site, retired_at=None)
        kinds = KINDS_OF.get(rule.subject, ())
        choices: Any = self.fields
        choices["items"].queryset = items if every or not kinds else items.filter(kind__in=kinds)
        names = [str(EquipmentKind(kind).label) for kind in kinds]
        choices["items"].help_text = "" if every or not kinds else _("Shown: %(kinds)s.") % {"kinds": ", ".join(names)}
        self.order_fields(["items"])

    def _post_clean(self) -> None:
        chosen = self.cleaned_data.get("items")
        if chosen:
            self.instance.equipment = chosen[0]
        super()._post_clean()
        if conflicting(self.rule) and not self.instance.house_reason.strip() and "house_reason" not in self.errors:
            self.add_error(
                "house_reason", _("Codes say different things of this matter. Say why the site takes this one.")
            )
        if conflicting(self.rule) and not self.instance.approved_by.strip() and "approved_by" not in self.errors:
            self.add_error("approved_by", _("Name who approved the choice between these codes."))

    def terms(self) -> dict[str, Any]:
        """Return the fields of the rules to store, as the form left them."""
        return {name: getattr(self.instance, name) for name in self.Meta.fields}
