"""House rules: each with value, unit, default, source and standing; a change is a new version."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import events, house, services
from facility.access import Act, Visit, enter
from facility.fields import InstantField, NumberField
from facility.models import HouseRule
from facility.reference import house_rule_definitions
from facility.services import ChangedMeanwhileError
from facility.templatetags.deepstead import plain_number

if TYPE_CHECKING:
    from datetime import datetime

    from django.http import HttpRequest, HttpResponse

    from facility.compute.reference import Sourced
    from facility.events import Actor
    from facility.models import Site


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One rule: what it means, what holds at the site, and the versions before."""

    key: str
    definition: Sourced
    in_force: HouseRule | None
    versions: tuple[HouseRule, ...]

    @property
    def now(self) -> str:
        """What holds at the site, in words or with its unit."""
        return house.told(self.definition, self.in_force.value) if self.in_force else self.default

    @property
    def default(self) -> str:
        """What holds until the site sets it."""
        return house.told(self.definition, self.definition.number)

    @property
    def told_versions(self) -> list[tuple[HouseRule, str]]:
        """Each version with its value in words."""
        return [(one, house.told(self.definition, one.value)) for one in self.versions]


class HouseRuleForm(forms.Form):
    """The new value of one rule, who approved it, and why."""

    value = NumberField(label=gettext_lazy("New value"), max_digits=14, decimal_places=4)
    approved_by = forms.CharField(label=gettext_lazy("Approved by"), max_length=150)
    in_force_from = InstantField(label=gettext_lazy("In force from"))
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=500)
    shown_version = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def open_at(self, rule: Sourced, site: Site, now: datetime) -> None:
        """Offer the rule's choices, if it has some, and read times in the site's zone."""
        self.rule, self.now = rule, now
        if rule.choices:
            self.fields["value"].widget = forms.Select(choices=[("", _("choose")), *rule.choices.items()])
        zone: Any = self.fields["in_force_from"]
        zone.set_zone(site.zone)

    def clean_value(self) -> Decimal:
        value: Decimal = self.cleaned_data["value"]
        if not house.may_be(self.rule, value):
            told = {"value": plain_number(value), "allowed": house.allowed(self.rule)}
            raise ValidationError(_("%(value)s: this rule may be %(allowed)s.") % told)
        return value

    def clean_in_force_from(self) -> datetime:
        at: datetime = self.cleaned_data["in_force_from"]
        if at > self.now:
            raise ValidationError(
                _("A rule comes into force when it is recorded. Give a time that is not in the future.")
            )
        return at


def lines_of(site: Site) -> list[RuleLine]:
    """Return every rule with its versions at the site, in one query."""
    versions: dict[str, list[HouseRule]] = {}
    for row in HouseRule.objects.filter(site=site).order_by("key", "-version"):
        versions.setdefault(row.key, []).append(row)
    return [
        RuleLine(key, definition, next((one for one in versions.get(key, []) if one.is_current), None),
                 tuple(versions.get(key, [])))
        for key, definition in house_rule_definitions().items()
    ]  # fmt: skip


@transaction.atomic
def put_in_force(rule: HouseRule, old: HouseRule | None, *, by: Actor, reason: str) -> HouseRule:
    """Store a new version of a rule; the one before is superseded.

    Errors: ChangedMeanwhileError if another version came meanwhile; ValidationError if a field refuses it.
    """
    last = HouseRule.objects.filter(site=rule.site, key=rule.key).aggregate(last=Max("version"))["last"]
    rule.version = (last or 0) + 1
    rule.note = reason.strip()[:500]
    if old is None:
        return services.add(rule, by=by, action="house rule set", reason=services.need_reason(reason))
    services.supersede(old, rule, by=by, reason=reason)
    return rule


def house_rules(request: HttpRequest, site: str) -> HttpResponse:
    """List the house rules."""
    visit = enter(request, site, Act.SEE)
    context = {"visit": visit, "place": "setup", "rules": lines_of(visit.site), "may_rules": visit.may(Act.RULES)}
    return render(request, "places/house_rules.html", context)


def set_house_rule(request: HttpRequest, site: str, key: str) -> HttpResponse:
    """Put a new version of one rule in force."""
    visit = enter(request, site, Act.RULES)
    line = next((one for one in lines_of(visit.site) if one.key == key), None)
    if line is None:
        raise Http404
    now = events.now()
    newest = line.versions[0].version if line.versions else 0
    form = HouseRuleForm(request.POST or None, initial={"in_force_from": now, "shown_version": newest})
    form.open_at(line.definition, visit.site, now)
    if form.is_valid():
        try:
            _store(form, line, newest, visit)
        except ValidationError as error:
            _refuse(form, error)
        else:
            messages.success(request, _("The rule is in force in its new version."))
            return redirect("places:house_rules", site)
    context = {"visit": visit, "place": "setup", "line": line, "form": form}
    return render(request, "places/house_rule.html", context, status=_status(form))


def _store(form: HouseRuleForm, line: RuleLine, newest: int, visit: Visit) -> None:
    typed = form.cleaned_data
    if typed["shown_version"] != newest:
        raise ChangedMeanwhileError(line.versions[0])
    rule = HouseRule(site=visit.site, key=line.key, value=typed["value"], approved_by=typed["approved_by"],
                     in_force_from=typed["in_force_from"])  # fmt: skip
    put_in_force(rule, line.in_force, by=visit.actor, reason=typed["reason"])


def _refuse(form: HouseRuleForm, error: ValidationError) -> None:
    if isinstance(error, ChangedMeanwhileError):
        form.changed = True  # type: ignore[attr-defined]  # read by _status
        form.data = {**_texts(form), "shown_version": str(getattr(error.stored, "version", 0))}
    for text in error.messages:
        form.add_error(None, text)


def _texts(form: HouseRuleForm) -> dict[str, str]:
    return {name: str(form.data.get(name, "")) for name in form.fields}


def _status(form: HouseRuleForm) -> int:
    if getattr(form, "changed", False):
        return 409
    return 422 if form.is_bound else 200
