"""How far an account reaches: who keeps the accounts of one site opens and shuts none that counts at a site of others."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility.access import ACTS, Act
from facility.models import Membership, User

KEEPERS = tuple(role for role, acts in ACTS.items() if Act.ACCOUNTS in acts)


def refuse_beyond(user: User, keeper: User) -> None:
    """Let through what ``keeper`` may vouch for: an account whose every site is one where they keep the accounts.

    A new password or no second proof opens an account everywhere it has a role, and shutting it shuts it everywhere.
    Errors: ValidationError naming the sites of others, or that the account may do everything everywhere.
    """
    if keeper.is_superuser or user.pk == keeper.pk:
        return
    if user.is_superuser:
        raise ValidationError(
            _("%(name)s may do everything at every site. Only another such account, or the box's own command, does this.")
            % {"name": user}
        )  # fmt: skip
    kept = Membership.objects.filter(user=keeper, role__in=KEEPERS, retired_at=None).values("site")
    rows = Membership.objects.filter(user=user, retired_at=None, site__retired_at=None).exclude(site__in=kept)
    names = sorted(set(rows.values_list("site__name", flat=True)))
    if names:
        raise ValidationError(
            _("%(name)s also has a role at %(sites)s, where you do not keep the accounts. Ask a director there; the roles here are yours to take back.")
            % {"name": user, "sites": ", ".join(names)}
        )  # fmt: skip
