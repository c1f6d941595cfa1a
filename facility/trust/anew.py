"""A new key where the old one is lost: nobody but the new key itself says that it took its place, and that is never hidden.

What the lost key signed stays good: its public half stays on record. What comes after can be believed only by a fingerprint
that was got by another way, such as a new wall sheet handed over in person.
"""

from __future__ import annotations

import json
import secrets
from typing import Any, Final

from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.models import KeyUse, SigningKey
from facility.trust import keyfiles, keys

BROKEN: Final = "records:chain of keys broken"
ASIDE: Final = ".not-on-record"


class KeyIsHereError(ValueError):
    """The key is not lost, or another must be begun anew before it."""


@transaction.atomic
def begin(use: str, *, by: events.Actor, reason: str) -> SigningKey:
    """Put a new key in the place of one whose private half is lost. The old one cannot sign that it is so: the chain ends.

    A file that lies in its place and is not the one on record is put aside, not destroyed.

    Errors: ValidationError for a blank reason; KeyIsHereError if the key is here, or if a seal is to be begun
    while the log's key, which vouches for it, is lost too.
    """
    reason = services.need_reason(reason)
    keys.one_at_a_time()
    old = SigningKey.objects.select_for_update().filter(use=use, in_use_until=None).first()
    _refuse(use, old)
    if old is None:
        raise KeyIsHereError(_("There never was a key of this use: it is made when the box is started."))
    keyfiles.drop_next(use)
    (keyfiles.make_log_key if use == KeyUse.LOG else keyfiles.make_seal_key)(keyfiles.NEXT)
    now = events.now()
    new = keys.new_row(use, keyfiles.NEXT, now)
    text = keys.statement(new, old.fingerprint, reason, broken=True)
    told: dict[str, Any] = {"text": text, "broken": "yes", "new_signature": keys.signed_by(use, text, keyfiles.NEXT)}
    new.passed_on = json.dumps(told | ({} if use == KeyUse.LOG else keys.signed_by_log(text)))
    old.in_use_until = now
    services.change(old, by=by, reason=reason, shown_version=old.row_version, action="key lost")
    services.add(new, by=by, reason=reason, action="key put in use, chain broken")
    after = {"use": use, "lost": old.fingerprint, "new": new.fingerprint}
    events.record(None, events.What(BROKEN, reason=reason, after=after), by=by)
    transaction.on_commit(lambda: _take_over(use))
    return new


def _refuse(use: str, old: SigningKey | None) -> None:
    if old is not None and keys.is_here(old):
        raise KeyIsHereError(_("The key %(fingerprint)s is here. Pass it on instead: then old and new both sign.") % {
            "fingerprint": old.fingerprint[: keys.ORIGIN_DIGITS],
        })  # fmt: skip
    log = keys.in_use(KeyUse.LOG)
    if use == KeyUse.SEAL and (log is None or not keys.is_here(log)):
        raise KeyIsHereError(
            _("The key of the log is lost too, and it vouches for the one of papers: begin with that of the log.")
        )


def _take_over(use: str) -> None:
    for name in keyfiles.FILES[KeyUse(use)]:
        path = keyfiles.path_of(name)
        if path.is_file() and keyfiles.path_of(name + keyfiles.NEXT).is_file():
            path.replace(path.with_name(f"{name}{ASIDE}-{secrets.token_hex(4)}"))
    keyfiles.take_over(use)
