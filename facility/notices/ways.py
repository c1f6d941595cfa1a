"""The ways on which somebody is told: added, tried, retired. No event holds an address or a secret."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.compute.far_side import is_refused
from facility.models import Delivery, Notice, NoticeKind, NoticeWay, Way
from facility.notices import sending
from facility.notices.masked import masked
from facility.notices.outgoing import is_local_allowed
from facility.trust.keys import box_name

if TYPE_CHECKING:
    from facility.events import Actor

SECRET_BYTES: Final = 32
MOST: Final = 10
"""Ways in use that one account, or the site itself, may have at a site; common practice, no source."""
PORTS: Final = {"http": 80, "https": 443}


@transaction.atomic
def add(row: NoticeWay, *, by: Actor) -> NoticeWay:
    """Store a way. A webhook is given its secret here; it is shown once, by whoever called.

    Errors: ValidationError if the address cannot be used, or there are too many already.
    """
    row.address, row.secret = row.address.strip(), row.secret.strip()
    refuse_address(row.way, row.address)
    own = NoticeWay.objects.current().filter(site=row.site, user=row.user)
    if own.filter(way=row.way, address=row.address).exists():
        raise ValidationError({"address": _("This way is there already. Try it with its button.")})
    if own.count() >= MOST:
        raise ValidationError(_("There are %(n)d ways already. Retire one first.") % {"n": MOST})
    if row.way == Way.WEBHOOK:
        row.secret = secrets.token_urlsafe(SECRET_BYTES)
    elif not (row.secret.isascii() and row.secret.isprintable()) or " " in row.secret:
        raise ValidationError({"secret": _("A token has only plain letters, digits and signs, and no space.")})
    row.recorded_at, row.recorded_by = events.now(), by.name
    row.full_clean(exclude=["recorded_by"])
    row.save(force_insert=True)
    what = events.What("way of notices added", after=told_of(row), site_key=row.site.key)
    events.record(row, what, by=by)
    return row


def told_of(row: NoticeWay) -> dict[str, str]:
    """Return what an event says of a way."""
    whose = "" if row.user_id is None else str(row.user_id)
    return {"way": str(row.way), "address": masked(row.way, row.address), "account": whose}


def retire(row: NoticeWay, *, by: Actor, reason: str) -> NoticeWay:
    """Let a way be used no longer; what waits on it is given up.

    Errors: ValidationError for a blank reason, or if it was retired already.
    """
    return services.retire(row, by=by, reason=reason, action="way of notices retired")


def refuse_address(way: str, address: str) -> None:
    """Errors: ValidationError by field, if nothing can be sent to this address; a name is resolved only then."""
    if not address.isascii() or not address.isprintable() or " " in address:
        raise ValidationError({"address": _("An address has only plain letters, digits and signs, and no space.")})
    if way == Way.EMAIL:
        try:
            validate_email(address)
        except ValidationError as error:
            raise ValidationError({"address": error.messages}) from None
        return
    if fault := _fault(address):
        raise ValidationError({"address": fault})


def _fault(address: str) -> str:
    try:
        parts = urlsplit(address)
        port = parts.port or PORTS.get(parts.scheme, 0)
    except ValueError:
        return _("This is no address. Write one such as https://push.example.org/our-topic")
    if parts.scheme not in PORTS or not parts.hostname:
        return _("Begin with https:// (or http:// in your own network) and the name of the host.")
    if parts.username is not None or parts.password is not None:
        return _("Leave user name and password out of the address; a push server's token has its own field.")
    if parts.fragment:
        return _("Leave out # and what follows: it never reaches the far side.")
    if _leads_back(parts.hostname) and not is_local_allowed(parts.hostname, port):
        return _(
            "“%(host)s” is this machine or its link. Take another host, or let it be named in DEEPSTEAD_NOTICE_LOCAL_ALLOWED."
        ) % {"host": parts.hostname}
    return ""


def _leads_back(host: str) -> bool:
    """Return whether a host is known as this machine without asking anybody."""
    if host == "localhost" or host.endswith(".localhost"):
        return True
    is_number = ":" in host or host.replace(".", "").isdigit()
    return is_number and is_refused(host)


def try_out(row: NoticeWay, *, by: Actor) -> Delivery:
    """Send a test on a way at once, as notices are sent, and return how it ended. A test is not tried again."""
    now = events.now()
    with transaction.atomic():
        notice = Notice.objects.create(
            site=row.site, user=row.user, kind=NoticeKind.TEST, made_at=now,
            once_key=f"test:{row.pk}:{secrets.token_hex(8)}",
            subject=_("A test of this way"), body=_("Nothing is wrong: somebody tried whether notices arrive here."),
            next_action=_("Nothing. That it arrived is all."), link=f"/{row.site.key}/notices/ways/",
        )  # fmt: skip
        delivery = Delivery.objects.create(
            notice=notice, way=row, due_at=now, lease_until=now + sending.LEASE, tries=1
        )  # fmt: skip
        events.record(row, events.What("way of notices tried", after=told_of(row), site_key=row.site.key), by=by)
    turn = sending.Turn(box_name(), str)
    try:
        sending.send([delivery], turn)
    finally:
        turn.line.close()
    delivery.refresh_from_db()
    return delivery
