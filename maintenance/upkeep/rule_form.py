"""The full form of a rule: every field, and what a rule adopted from a code asks for when the house changes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, NumberField
from maintenance.compute.due_windows import WindowKind
from maintenance.models import Counter, HappeningKind, IntervalRule
from maintenance.readiness.rule_rows import triggers_of
from maintenance.upkeep.adopting import deviations

if TYPE_CHECKING:
    from facility.models import Site

WHOLE = (
    "months", "days", "window_days", "window_months", "early_days", "early_months", "life_months", "defer_months",
    "hard_stop_months",
)  # fmt: skip
NUMBERS = ("window_percent", "count_every", "count_life", "count_at_fitting", "price")
MOST_PERCENT = 50


class RuleForm(forms.ModelForm[IntervalRule]):
    """Everything that a rule says."""

    life_begins_on = DayField(
        label=gettext_lazy("Life begins (optional)"), required=False,
        help_text=gettext_lazy("Empty: the day that the item was put in service."),
    )  # fmt: skip
    triggers = forms.MultipleChoiceField(
        label=gettext_lazy("Also due after"), required=False, widget=forms.CheckboxSelectMultiple,
        choices=HappeningKind.choices,
    )  # fmt: skip

    class Meta:
        model = IntervalRule
        fields = [
            "name", "months", "days", "anchor", "window_kind", "window_months", "window_days", "early_months",
            "early_days", "window_percent", "counter", "count_every", "count_life", "count_at_fitting", "life_months",
            "life_begins_on", "triggers", "defer_months", "hard_stop_months", "effect", "counts", "acceptance", "who_may",
            "evidence_asked", "source", "standing", "price", "currency", "house_reason", "approved_by",
        ]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["triggers"] = list(triggers_of(self.instance.triggers))
        choices: Any = self.fields
        for name in WHOLE:
            choices[name].required = False
            choices[name].widget = forms.TextInput(attrs={"inputmode": "numeric"})
        for name in NUMBERS:
            field: Any = IntervalRule._meta.get_field(name)
            choices[name] = NumberField(
                label=choices[name].label, required=False, min_value=0, max_digits=field.max_digits, decimal_places=2
            )
            choices[name].help_text = choices[name].help_text or field.help_text

    def open_at(self, site: Site) -> None:
        """Offer the site's counters."""
        choices: Any = self.fields
        choices["counter"].queryset = Counter.objects.filter(site=site, retired_at=None)

    def clean(self) -> dict[str, Any]:
        """Refuse a window that cannot be, and a house rule without its reason and who approved it."""
        given = super().clean() or self.cleaned_data
        for name in (*WHOLE, "window_percent", "count_at_fitting"):
            if given.get(name) is None and name not in self.errors:
                given[name] = 0
        given["triggers"] = ", ".join(given.get("triggers") or ())
        self._check_window(given)
        self._check_counts(given)
        return given

    def _check_window(self, given: dict[str, Any]) -> None:
        kind = given.get("window_kind")
        after = (given.get("window_months") or 0) or (given.get("window_days") or 0)
        before = (given.get("early_months") or 0) or (given.get("early_days") or 0)
        percent = given.get("window_percent") or 0
        if kind == WindowKind.PERCENTAGE and not 0 < percent <= MOST_PERCENT:
            self.add_error("window_percent", _("A window in percent needs more than 0 and at most 50 %."))
        if kind in (WindowKind.SYMMETRIC, WindowKind.FROM_DONE) and not after:
            self.add_error("window_months", _("This window needs months or days after."))
        if kind == WindowKind.ASYMMETRIC and not (after or before):
            self.add_error("window_months", _("This window needs months or days on one of its sides."))
        months = given.get("months") or 0
        reach = given.get("window_months") or 0
        if months and kind in (WindowKind.SYMMETRIC, WindowKind.ASYMMETRIC) and reach >= months:
            self.add_error("window_months", _("A window of %(reach)d months reaches over the whole interval of %(months)d months.")
                           % {"reach": reach, "months": months})  # fmt: skip

    def _check_counts(self, given: dict[str, Any]) -> None:
        """An interval of counts of 0 says nothing; the empty field does."""
        for name in ("count_every", "count_life"):
            if given.get(name) == 0:
                given[name] = None

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]  # of ModelForm, not in its stubs
        if self.errors or not self.instance.requirement:
            return
        found = deviations(self.instance)
        if not found:
            return
        said = "; ".join(one.words for one in found)
        if not self.instance.house_reason.strip():
            self.add_error(
                "house_reason", _("This differs from the rule adopted (%(what)s). Say why.") % {"what": said}
            )
        if not self.instance.approved_by.strip():
            self.add_error("approved_by", _("Name who approved that the house differs from the rule."))


class ChangeRuleForm(RuleForm):
    """The same with the reason of the change, and the version that was shown."""

    reason = forms.CharField(label=gettext_lazy("Reason of this change"), max_length=500)
    shown_version = forms.IntegerField(widget=forms.HiddenInput)


def first_words(error: ValidationError) -> str:
    """Return the words of a refusal."""
    return " ".join(error.messages)
