"""The house rules in force at a site, what each may be, and how its value reads."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.models import HouseRule
from facility.reference import house_rule_definitions
from facility.templatetags.deepstead import plain_number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.compute.reference import Sourced
    from facility.models import Site

#: rules that must be more than nothing, and the most that any may be
MORE_THAN_0 = {"check_age_min", "bank_age_min", "contact_confirm_days"}
MOST = 999_999
#: the unit of a rule that is a number without one
NO_UNIT = "1"
SPANS = {"d": ("day", "days"), "a": ("year", "years")}
"""Units whose sign people do not read as a word, as one and many."""


def values(site: Site) -> dict[str, Decimal]:
    """Return each rule's value at ``site``: the version in force, or the default."""
    return values_of([site.pk])[site.pk]


def values_of(site_ids: Iterable[int]) -> dict[int, dict[str, Decimal]]:
    """Return the rules of many sites in one query."""
    set_by_site: dict[int, dict[str, Decimal]] = defaultdict(dict)
    wanted = list(site_ids)
    rows = HouseRule.objects.filter(site__in=wanted, retired_at=None).values_list("site_id", "key", "value")
    for site_id, key, value in rows:
        set_by_site[site_id][key] = value
    defaults = {name: rule.number for name, rule in house_rule_definitions().items()}
    return {site_id: {**defaults, **set_by_site[site_id]} for site_id in wanted}


def told(rule: Sourced, value: Decimal) -> str:
    """Return a value of a rule as people read it: the choice that it stands for, or the number with its unit."""
    if value in rule.choices:
        return rule.choices[value]
    number = plain_number(value.normalize())
    if rule.unit in SPANS:
        return f"{number}\u00a0{ngettext(*SPANS[rule.unit], int(value))}"
    return number if rule.unit == NO_UNIT else f"{number}\u00a0{rule.unit}"


def may_be(rule: Sourced, value: Decimal) -> bool:
    """Return whether a rule may have this value."""
    if rule.choices:
        return value in rule.choices
    return value == value.to_integral_value() and _least(rule) <= value <= MOST


def allowed(rule: Sourced) -> str:
    """Return in words what a rule may be."""
    if rule.choices:
        return ", ".join(f"{number} ({words})" for number, words in rule.choices.items())
    return _("a whole number from %(least)d to %(most)d") % {"least": _least(rule), "most": MOST}


def _least(rule: Sourced) -> int:
    return 1 if rule.name in MORE_THAN_0 else 0
