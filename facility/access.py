"""Who may do what: one table of roles and acts, and the one way into a site."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.translation import gettext, gettext_noop

from facility.http import actor_of
from facility.models import Membership, Site, SiteRole, User

if TYPE_CHECKING:
    from django.http import HttpRequest

    from facility.events import Actor


class Act(StrEnum):
    """Kinds of acts that a role may be allowed."""

    SEE = gettext_noop("see the site's pages")
    CHECK = gettext_noop("walk a check and enter readings")
    SIGN = gettext_noop("sign a check")
    DEFECT = gettext_noop("raise a defect")
    RETURN = gettext_noop("return to service")
    PLANT = gettext_noop("keep equipment, gas and their records")
    PEOPLE = gettext_noop("keep people, qualifications and roster")
    MEDICAL = gettext_noop("record medical fitness")
    RUN = gettext_noop("start and end a run")
    LOG = gettext_noop("write the log of a run")
    PATIENT = gettext_noop("see and record who a patient is")
    WAIVE = gettext_noop("grant and countersign a waiver")
    RULES = gettext_noop("change sheets, plans and house rules")
    IMPORT = gettext_noop("import files")
    PACK = gettext_noop("build packs and keep an inspector's findings")
    ACCOUNTS = gettext_noop("invite and deactivate accounts")

    @property
    def words(self) -> str:
        """Say the act in the reader's language."""
        return gettext(self.value)


FIRST_USER = "first user"
_FLOOR = frozenset({Act.SEE, Act.CHECK, Act.DEFECT})
ACTS: dict[str, frozenset[Act]] = {
    SiteRole.INSPECTOR: frozenset({Act.SEE}),
    SiteRole.TENDER: _FLOOR | {Act.LOG},
    SiteRole.OPERATOR: _FLOOR | {Act.SIGN, Act.PLANT, Act.RUN, Act.LOG},
    SiteRole.MAINTAINER: _FLOOR | {Act.PLANT, Act.RETURN, Act.IMPORT},
    SiteRole.PHYSICIAN: frozenset({Act.SEE, Act.DEFECT, Act.MEDICAL, Act.PATIENT, Act.LOG, Act.WAIVE}),
    SiteRole.SUPERVISOR: _FLOOR
    | {Act.SIGN, Act.RETURN, Act.PLANT, Act.PEOPLE, Act.MEDICAL, Act.RUN, Act.IMPORT, Act.LOG, Act.PATIENT, Act.PACK},
    SiteRole.DIRECTOR: frozenset(Act),
}


@dataclass(frozen=True, slots=True)
class Visit:
    """A signed-in person at a site: what they may do, and in whose name it is recorded."""

    site: Site
    acts: frozenset[Act]
    actor: Actor

    def may(self, act: Act) -> bool:
        """Return whether this person may do ``act`` here."""
        return act in self.acts


def acts_of(roles: list[str]) -> frozenset[Act]:
    """Return what the holder of these roles may do."""
    return frozenset().union(*(ACTS[role] for role in roles)) if roles else frozenset()


def acts_at(user: User, site: Site) -> tuple[frozenset[Act], str]:
    """Return what a person may do at a site now, and the roles in words as events keep them."""
    roles = list(Membership.objects.filter(user=user, site=site, retired_at=None).values_list("role", flat=True))
    return frozenset(Act) if user.is_superuser else acts_of(roles), ", ".join(sorted(roles)) or FIRST_USER


def enter(request: HttpRequest, site_key: str, act: Act = Act.SEE) -> Visit:
    """Fetch the site and authorise in one step.

    Errors: Http404 if the person has no role there (so that keys cannot be guessed);
    PermissionDenied if no role of theirs allows ``act``.
    """
    request.act_asked = act  # type: ignore[attr-defined]  # lets a test see what a page asks for
    user = request.user
    if not isinstance(user, User):
        raise PermissionDenied
    site = Site.objects.filter(key=site_key, retired_at=None).first()
    if site is None:
        raise Http404
    acts, role = acts_at(user, site)
    if not acts:
        raise Http404
    if act not in acts:
        raise PermissionDenied
    actor = replace(actor_of(request), role=role)
    visit = Visit(site=site, acts=acts, actor=actor)
    request.visit = visit  # type: ignore[attr-defined]  # read by the title block
    return visit


def sites_of(user: User) -> list[Site]:
    """Return the sites where a person has a role, by name."""
    sites = Site.objects.filter(retired_at=None)
    if not user.is_superuser:
        sites = sites.filter(memberships__user=user, memberships__retired_at=None).distinct()
    return list(sites.order_by("name"))
