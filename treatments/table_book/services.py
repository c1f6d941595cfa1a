"""Acts on treatment tables: confirmed against a printed handbook, proposed, approved, taken out of force.

Two people each time: one alone neither confirms a shipped table nor puts one of the site's own in force.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events, services
from treatments.compute.plans import PlanError, check_key
from treatments.compute.tables import read_table
from treatments.models import SiteTable, TableConfirmation
from treatments.reference import FILES, fractions
from treatments.table_book.tables import as_in_force, confirmations, table_for

if TYPE_CHECKING:
    from collections.abc import Mapping

    from facility.events import Actor
    from facility.models import Site


@transaction.atomic
def confirm(site: Site, key: str, handbook: str, *, shown_digest: str, by: Actor) -> TableConfirmation:
    """Keep that somebody compared a shipped table with a printed handbook, bound to the values compared.

    Errors: ValidationError if the table is not shipped, its values are not those that were shown, this account or
    a person of this name compared them already, or the handbook is not named.
    """
    if key not in FILES:
        raise ValidationError(_("“%(key)s” is no shipped table. A table of the site is approved, not confirmed.")
                              % {"key": key}, code="shipped")  # fmt: skip
    now = table_for(site, key)
    if now.digest != shown_digest:
        raise ValidationError(_("The values of this table changed after they were shown to you. Compare them again."),
                              code="changed")  # fmt: skip
    known = confirmations(site).get((key, now.digest), [])
    if any(_same_person(row.compared_user, row.compared_by, by) for row in known):
        raise ValidationError(
            _("%(who)s confirmed this table already. Another person must compare it too.") % {"who": by.name},
            code="twice",
        )
    row = TableConfirmation(
        site=site,
        table=key,
        digest=now.digest,
        handbook=handbook.strip(),
        compared_by=by.name,
        compared_user=by.user_id,
    )
    return services.add(row, by=by, action="table compared with the handbook")


@transaction.atomic
def take_back(row: TableConfirmation, *, reason: str, by: Actor) -> TableConfirmation:
    """Let a comparison no longer count: the wrong edition, or a difference seen later.

    Errors: ValidationError for a blank reason; ChangedMeanwhileError if it no longer counts.
    """
    return services.retire(row, by=by, reason=reason, action="comparison with the handbook taken back")


@transaction.atomic
def propose(site: Site, key: str, parts: Mapping[str, Any], source: str, *, by: Actor) -> SiteTable:
    """Store the next version of a site's own table; it counts once another person has approved it.

    Errors: TableError for a part that makes no sense; ValidationError for a key that cannot be used, a source that
    is missing, or an earlier proposal that still waits.
    """
    _check_key(key)
    table = read_table(key, parts, fractions())
    waiting = SiteTable.objects.filter(site=site, key=key, retired_at=None, approved_at=None).first()
    if waiting is not None:
        raise ValidationError(
            _("Version %(n)d of %(key)s, proposed by %(who)s, still waits. Approve it or take it back first.")
            % {"n": waiting.version, "key": key, "who": waiting.proposed_by}, code="waiting")  # fmt: skip
    last = SiteTable.objects.filter(site=site, key=key).aggregate(last=Max("version"))["last"]
    row = SiteTable(
        site=site, key=table.key, version=(last or 0) + 1, parts=dict(parts), source=source.strip(),
        proposed_by=by.name, proposed_user=by.user_id,
    )  # fmt: skip
    return services.add(row, by=by, action="table proposed")


def _check_key(key: str) -> None:
    try:
        check_key(_("key"), key)
    except PlanError as error:
        raise ValidationError(
            {"key": _("“%(key)s” is refused. %(limit)s") % {"key": key, "limit": error.limit}}
        ) from None
    if key.casefold() in {one.casefold() for one in FILES}:
        raise ValidationError({"key": _("%(key)s is a shipped table. Give the site's own another key.") % {"key": key}})


@transaction.atomic
def approve(row: SiteTable, *, shown_digest: str, by: Actor) -> SiteTable:
    """Put a proposed version in force; the one before no longer counts.

    Errors: ValidationError if the same account or a person of the same name proposed it, it no longer waits,
    or it is not what was shown.
    """
    row = SiteTable.objects.select_for_update().get(pk=row.pk)
    if row.retired_at is not None or row.approved_at is not None:
        raise ValidationError(_("Version %(n)d of %(key)s no longer waits for approval.")
                              % {"n": row.version, "key": row.key}, code="waits")  # fmt: skip
    if _same_person(row.proposed_user, row.proposed_by, by):
        raise ValidationError(_("%(who)s proposed this version. Another person must approve it.") % {"who": by.name},
                              code="same person")  # fmt: skip
    if as_in_force(row).digest != shown_digest:
        raise ValidationError(_("This is not what was shown to you. Look at it again."), code="changed")
    before = SiteTable.objects.filter(site=row.site_id, key=row.key, retired_at=None, approved_at__isnull=False).first()
    reason = _("Version %(n)d of %(key)s, approved by %(who)s.") % {"n": row.version, "key": row.key, "who": by.name}
    if before is not None:
        services.retire(before, by=by, reason=reason, action="table taken out of force")
    row.approved_by, row.approved_user, row.approved_at = by.name, by.user_id, events.now()
    return services.change(row, by=by, reason=reason, shown_version=row.row_version, action="table put in force")


@transaction.atomic
def withdraw(row: SiteTable, *, reason: str, by: Actor) -> SiteTable:
    """Take a table of the site out of force, or a proposal back. Runs keep the version that they were opened with.

    Errors: ValidationError for a blank reason; ChangedMeanwhileError if it no longer counts.
    """
    action = "table taken out of force" if row.approved_at else "proposed table taken back"
    return services.retire(row, by=by, reason=reason, action=action)


def _same_person(account: int | None, name: str, by: Actor) -> bool:
    return (account is not None and account == by.user_id) or name.casefold() == by.name.casefold()
