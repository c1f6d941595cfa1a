"""Second proofs of an account: a code generator (RFC 6238), passkeys (W3C Web Authentication), codes on paper.

Secrets are sealed with a key made from SECRET_KEY: a copy of the database alone opens no door. They enter no event.
That key, and no other thing of SECRET_KEY, goes into backups: whoever puts one back still comes in with the same proofs.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from facility import events
from facility.events import Actor, What
from facility.models import FactorSort, SecondFactor, User

if TYPE_CHECKING:
    from datetime import datetime

    from cryptography.fernet import MultiFernet

PERIOD_S = 30
"""RFC 6238 section 5.2 recommends 30 s."""
WINDOW = 1
"""Steps before and after that are taken, as RFC 6238 section 5.2 allows for a clock that is off."""
KEYS_FILE = "second-proof-keys"
"""In the data folder of a box that was put back from a backup: the keys that sealed its second proofs before."""
PAPER_CODES = 10
PAPER_BYTES = 5


def sealing_keys() -> list[str]:
    """Return the keys that open second proofs: this box's own, which seals new ones, and those put back from a backup."""
    own = [str(key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]
    digests = [hashlib.sha256(b"deepstead second proof v1\0" + key.encode()).digest() for key in own]
    put_back = settings.DATA_DIR / KEYS_FILE
    older = put_back.read_text(encoding="ascii").split() if put_back.is_file() else []
    return [*(base64.urlsafe_b64encode(digest).decode() for digest in digests), *older]


def _box() -> MultiFernet:
    from cryptography.fernet import Fernet, MultiFernet  # noqa: PLC0415  # megabytes, needed only here

    return MultiFernet([Fernet(key) for key in sealing_keys()])


def sealed(content: object) -> str:
    """Return what a row keeps."""
    return _box().encrypt(json.dumps(content).encode()).decode()


def opened(row: SecondFactor) -> Any:
    """Return the content of a row.

    Errors: ValidationError if it was sealed under another SECRET_KEY.
    """
    from cryptography.fernet import InvalidToken  # noqa: PLC0415  # megabytes, needed only here

    try:
        return json.loads(_box().decrypt(row.data.encode()))
    except InvalidToken:
        raise ValidationError(
            _("The second proof “%(name)s” was stored under another secret key. A director must take it off.")
            % {"name": row}
        ) from None


def of(user: User) -> list[SecondFactor]:
    """Return the second proofs that count."""
    return list(SecondFactor.objects.filter(user=user, retired_at=None))


def asked_of(user: User) -> bool:
    """Return whether the account has a second proof, and so must show it."""
    return SecondFactor.objects.filter(user=user, retired_at=None).exclude(sort=FactorSort.PAPER).exists()


def first_code(user: User, secret: str, code: str, name: str, *, by: Actor) -> bool:
    """Store a code generator if ``code`` is one of its codes now, and return whether it was. That code counts no second time."""
    now = events.now()
    counter = counter_of(secret, code, now)
    if counter is None:
        return False
    with transaction.atomic():
        row = keep(user, FactorSort.CODES, name, secret, by=by)
        SecondFactor.objects.filter(pk=row.pk).update(last_counter=counter, used_at=now)
    return True


@transaction.atomic
def keep(user: User, sort: str, name: str, content: object, *, by: Actor) -> SecondFactor:
    """Store a second proof; one of the same sort that is no passkey takes the place of the old one."""
    now = events.now()
    if sort != FactorSort.PASSKEY:
        old = SecondFactor.objects.filter(user=user, sort=sort, retired_at=None)
        old.update(retired_at=now, retired_reason="replaced", data="", row_version=F("row_version") + 1)
    row = SecondFactor(user=user, sort=sort, name=name, data=sealed(content), recorded_at=now, recorded_by=by.name)
    row.full_clean(exclude=["recorded_by", "data"])
    row.save(force_insert=True)
    _note("second proof added", row, by=by)
    return row


@transaction.atomic
def take_off(row: SecondFactor, *, by: Actor, reason: str) -> None:
    """Let a second proof count no longer; its secret is wiped. Paper codes alone would open nothing, so they go with the last.

    Errors: ValidationError for a blank reason.
    """
    if not reason.strip():
        raise ValidationError(_("Give a reason: it is kept with the record."))
    if not SecondFactor.objects.filter(pk=row.pk, retired_at=None).exists():
        return
    _wipe(row, reason, by=by)
    if not asked_of(row.user):
        for paper in SecondFactor.objects.filter(user=row.user, sort=FactorSort.PAPER, retired_at=None):
            _wipe(paper, reason, by=by)


def _wipe(row: SecondFactor, reason: str, *, by: Actor) -> None:
    SecondFactor.objects.filter(pk=row.pk, retired_at=None).update(
        retired_at=events.now(), retired_reason=reason[:500], data="", row_version=F("row_version") + 1
    )
    _note("second proof taken off", row, by=by, reason=reason)


def _note(action: str, row: SecondFactor, *, by: Actor, reason: str = "") -> None:
    what = What(
        f"account:{action}", after={"username": row.user.username, "sort": row.sort, "name": row.name}, reason=reason
    )
    events.record(None, what, by=by)


def new_secret() -> str:
    """Return a secret for a code generator: 160 bits in base 32, as RFC 4226 section 4 recommends."""
    import pyotp  # noqa: PLC0415  # needed only here

    return pyotp.random_base32(32)


def generator_address(user: User, secret: str, site_name: str) -> str:
    """Return the address that a code generator reads from a QR code."""
    import pyotp  # noqa: PLC0415  # needed only here

    return pyotp.TOTP(secret).provisioning_uri(name=user.username, issuer_name=site_name)


def counter_of(secret: str, code: str, at: datetime) -> int | None:
    """Return the step whose code this is, within the window, or None."""
    import pyotp  # noqa: PLC0415  # needed only here

    step = int(at.timestamp()) // PERIOD_S
    generator = pyotp.HOTP(secret)
    given = code.replace(" ", "")
    for counter in range(step - WINDOW, step + WINDOW + 1):
        if secrets.compare_digest(generator.at(counter).encode(), given.encode()):
            return counter
    return None


def start_paper(user: User, *, by: Actor) -> list[str]:
    """Make new codes for paper and return them; only their hashes are kept, and older ones count no longer."""
    codes = [secrets.token_hex(PAPER_BYTES) for _one in range(PAPER_CODES)]
    keep(user, FactorSort.PAPER, "", [make_password(code) for code in codes], by=by)
    return codes


def shown(user: User, code: str) -> bool:
    """Return whether ``code`` proves the account now. A code of the generator counts once, a code on paper for ever once."""
    return _by_generator(user, code) or _by_paper(user, code)


def _by_generator(user: User, code: str) -> bool:
    row = SecondFactor.objects.filter(user=user, sort=FactorSort.CODES, retired_at=None).first()
    if row is None:
        return False
    now = events.now()
    counter = counter_of(opened(row), code, now)
    if counter is None:
        return False
    unused = SecondFactor.objects.filter(pk=row.pk, retired_at=None, last_counter__lt=counter)
    return bool(unused.update(last_counter=counter, used_at=now))


@transaction.atomic
def _by_paper(user: User, code: str) -> bool:
    row = SecondFactor.objects.select_for_update().filter(user=user, sort=FactorSort.PAPER, retired_at=None).first()
    if row is None:
        return False
    hashes = opened(row)
    given = code.replace(" ", "").lower()
    left = [one for one in hashes if not check_password(given, one)]
    if len(left) == len(hashes):
        return False
    SecondFactor.objects.filter(pk=row.pk).update(data=sealed(left), used_at=events.now())
    _note("code on paper used", row, by=Actor(name=str(user), user_id=user.pk), reason=f"{len(left)} left")
    return True


def paper_left(user: User) -> int | None:
    """Return how many codes on paper are left; None if there are none at all."""
    row = SecondFactor.objects.filter(user=user, sort=FactorSort.PAPER, retired_at=None).first()
    return None if row is None else len(opened(row))
