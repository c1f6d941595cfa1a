"""What a site still has to record before its readiness can be known, in the order in which it is easiest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Exists
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from facility.models import (
    Chamber,
    CheckSheet,
    DutyPeriod,
    Lock,
    MedicalFitness,
    Person,
    QualificationHeld,
    QualificationKind,
    Site,
)
from facility.records.scope import of_site
from maintenance.models import BankReading, Cylinder, Equipment, GasBank
from treatments.models import Need, Plan

if TYPE_CHECKING:
    from django.db.models import Model, QuerySet
    from django.utils.functional import _StrPromise

#: words, model, kind of the general pages
OF_KINDS: tuple[tuple[_StrPromise, type[Model], str], ...] = (
    (_("The chamber"), Chamber, "chamber"),
    (_("Its locks: volumes, occupants, working pressure"), Lock, "lock"),
    (_("Equipment, with the acts that fall due on it"), Equipment, "equipment"),
    (_("Gas banks"), GasBank, "bank"),
    (_("The cylinders of each bank, each with its analysis"), Cylinder, "cylinder"),
    (_("A reading of each bank"), BankReading, "reading"),
    (_("Kinds of qualification that a role may ask for"), QualificationKind, "qualification-kind"),
    (_("People"), Person, "person"),
    (_("Their qualifications; a second person then reads the dates"), QualificationHeld, "qualification"),
    (_("Their medical fitness"), MedicalFitness, "medical"),
    (_("Who is on duty, and when"), DutyPeriod, "duty"),
)
#: words, model, page of its own
OF_PAGES: tuple[tuple[_StrPromise, type[Model], str], ...] = (
    (_("The check sheets with this site's own limits"), CheckSheet, "walk:sheets"),
    (_("Needs: what a run rests on, and how many of which things"), Need, "treatments:needs"),
    (_("Plans: for each treatment table its length, crew, gas and needs"), Plan, "treatments:plans"),
)


@dataclass(frozen=True, slots=True)
class FirstStep:
    """One thing to record, where, and whether it is there."""

    words: _StrPromise
    url: str
    done: bool


def first_steps(site: Site) -> list[FirstStep]:
    """Return the steps from an empty site to its first answer; none once a plan is in force."""
    models = [model for _words, model, _page in (*OF_KINDS, *OF_PAGES)]
    rows = [_rows(model, site) for model in models]
    found = Site.objects.filter(pk=site.pk).values_list(*[Exists(one) for one in rows]).get()
    if found[models.index(Plan)]:
        return []
    pages = [reverse("records:list" if done else "records:add", args=[site.key, slug])
             for (_words, _model, slug), done in zip(OF_KINDS, found, strict=False)]  # fmt: skip
    pages += [reverse(page, args=[site.key]) for _words, _model, page in OF_PAGES]
    words = [words for words, _model, _page in (*OF_KINDS, *OF_PAGES)]
    return [FirstStep(*one) for one in zip(words, pages, found, strict=True)]


def _rows(model: type[Model], site: Site) -> QuerySet[Any]:
    """Return what still counts of one model at the site."""
    if model in (Need, Plan):
        return model._default_manager.filter(chamber__site=site, retired_at=None)
    return of_site(model, site).filter(retired_at=None)
