"""The keys of this box: made at the first start, on record with their public halves, passed on under both signatures.

A signature tells which box held the bytes. Whoever holds the private files can sign too: copies of their
fingerprints belong outside the server, on the wall sheet.
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from django.db import connection, transaction
from django.utils.translation import gettext as _

from facility import box_key, events, services
from facility.models import KeyUse, SigningKey
from facility.trust import keyfiles

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor

LABEL: Final = b"deepstead key statement v1"
ORIGIN_DIGITS: Final = 16


class KeyFaultError(ValueError):
    """A private key is missing or another than the one on record; the text says what to do."""


@dataclass(frozen=True, slots=True)
class SealMaterial:
    """What seals a paper."""

    key_pem: bytes
    certificate_pem: bytes
    fingerprint: str


@dataclass(frozen=True, slots=True)
class PublicKey:
    """The public half of a key, as a pack carries it. ``public_hex``: the 32 bytes of a key of the log."""

    use: str
    public_pem: str
    public_hex: str
    fingerprint: str
    in_use_from: datetime
    in_use_until: datetime | None
    passed_on: dict[str, str] | None


def ensure() -> None:
    """Make both keys if there are none, put them on record, and end a passing-on that was cut off.

    Errors: KeyFaultError if a key on record has no file here, or another one.
    """
    for use in KeyUse:
        row = in_use(use)
        if row is None:
            _begin(use)
        elif not is_here(row):
            raise KeyFaultError(_missing(row))


def in_use(use: str) -> SigningKey | None:
    """Return the row of the key that signs now, or None before the first start."""
    return SigningKey.objects.filter(use=use, in_use_until=None).first()


def _missing(row: SigningKey) -> str:
    files = ", ".join(str(keyfiles.path_of(name)) for name in keyfiles.FILES[KeyUse(row.use)])
    return _(
        "The private key on record, %(fingerprint)s, is not the one in %(files)s. Put these files back from a backup;"
        " if there is none, a new key can be begun, which breaks the chain of keys. Nothing is signed meanwhile; records are kept as always."
    ) % {"fingerprint": row.fingerprint[:ORIGIN_DIGITS], "files": files}


def is_here(row: SigningKey) -> bool:
    """Return whether the file is that of the row; a successor left by a start that was cut off is taken over."""
    if _fingerprint_of(row.use) == row.fingerprint:
        return True
    if _fingerprint_of(row.use, keyfiles.NEXT) != row.fingerprint:
        return False
    keyfiles.take_over(row.use)
    return True


def _fingerprint_of(use: str, ending: str = "") -> str:
    """Return the fingerprint of the key in the files, or nothing if there is none that can be read."""
    try:
        if use == KeyUse.LOG:
            return box_key.fingerprint(keyfiles.log_key(ending).public_key().public_bytes_raw())
        keyfiles.path_of(keyfiles.SEAL + ending).stat()
        return keyfiles.certificate_fingerprint(keyfiles.certificate(ending))
    except (OSError, ValueError):
        return ""


def one_at_a_time() -> None:
    """Let other writers of the log wait until this transaction ends; SQLite does so by itself."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [events.APPEND_LOCK])


@transaction.atomic
def _begin(use: KeyUse) -> None:
    """Put the first key of a use on record; the log's key vouches for the one that seals."""
    one_at_a_time()
    if in_use(use) is not None:
        return
    if use == KeyUse.LOG:
        box_key.private_key()  # makes it
    elif not keyfiles.there(use):
        keyfiles.make_seal_key()
    now, by = events.now(), events.system("keys")
    row = new_row(use, "", now)
    if use == KeyUse.SEAL:
        text = statement(row, "", "first key of this use")
        row.passed_on = json.dumps({"text": text} | signed_by_log(text))
    services.add(row, by=by, action="key put in use")


def new_row(use: str, ending: str, now: datetime) -> SigningKey:
    """Return the row of the key in the files, not stored yet."""
    from cryptography.hazmat.primitives import serialization as form  # noqa: PLC0415  # megabytes

    if use == KeyUse.LOG:
        public = keyfiles.log_key(ending).public_key()
        pem = public.public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    else:
        pem = keyfiles.certificate(ending)
    return SigningKey(use=use, public=pem.decode("ascii"), fingerprint=_fingerprint_of(use, ending), in_use_from=now)


def statement(row: SigningKey, old: str, reason: str, *, broken: bool = False) -> str:
    """Return the text that is signed when a key comes into use; one line a value. ``broken``: the old one cannot sign."""
    values = {
        "use": row.use, "old": old or "none", "new": row.fingerprint, "from": row.in_use_from.isoformat(),
        **({"chain": "broken here, the old key was lost"} if broken else {}),
        "reason": " ".join(reason.split()),
    }  # fmt: skip
    return "deepstead key statement v1\n" + "".join(f"{name}: {value}\n" for name, value in values.items())


def _text(signature: bytes) -> str:
    return base64.b64encode(signature).decode("ascii")


def signed_by_log(text: str, ending: str = "") -> dict[str, str]:
    """Return what the log's key signs of a statement on another key."""
    key = keyfiles.log_key(ending)
    signed = key.sign(LABEL + b"\0" + text.encode())
    return {"log_signature": _text(signed), "log_fingerprint": box_key.fingerprint(key.public_key().public_bytes_raw())}


def signed_by(use: str, text: str, ending: str = "") -> str:
    """Return the signature of a key of this use over a statement, base64."""
    content = LABEL + b"\0" + text.encode()
    if use == KeyUse.LOG:
        return _text(keyfiles.log_key(ending).sign(content))
    from cryptography.hazmat.primitives.asymmetric.ec import ECDSA  # noqa: PLC0415  # megabytes
    from cryptography.hazmat.primitives.hashes import SHA256  # noqa: PLC0415  # as above

    return _text(keyfiles.seal_key(ending).sign(content, ECDSA(SHA256())))


@transaction.atomic
def rotate(use: str, *, by: Actor, reason: str) -> SigningKey:
    """Put a new key in the place of the one in use; both sign that it is so. The old private key is destroyed after.

    Errors: ValidationError for a blank reason; KeyFaultError if the old key is not here to sign.
    """
    reason = services.need_reason(reason)
    ensure()
    one_at_a_time()
    old = SigningKey.objects.select_for_update().get(use=use, in_use_until=None)
    keyfiles.drop_next(use)
    (keyfiles.make_log_key if use == KeyUse.LOG else keyfiles.make_seal_key)(keyfiles.NEXT)
    now = events.now()
    new = new_row(use, keyfiles.NEXT, now)
    text = statement(new, old.fingerprint, reason)
    signed: dict[str, Any] = {
        "text": text, "old_signature": signed_by(use, text), "new_signature": signed_by(use, text, keyfiles.NEXT),
    }  # fmt: skip
    new.passed_on = json.dumps(signed | ({} if use == KeyUse.LOG else signed_by_log(text)))
    old.in_use_until = now
    services.change(old, by=by, reason=reason, shown_version=old.row_version, action="key taken out of use")
    services.add(new, by=by, reason=reason, action="key put in use")
    transaction.on_commit(lambda: keyfiles.take_over(use))
    return new


def seal_material() -> SealMaterial:
    """Return what seals papers; makes it where there is none. Errors: KeyFaultError as in ensure()."""
    ensure()
    pem = keyfiles.certificate()
    return SealMaterial(
        keyfiles.path_of(keyfiles.SEAL).read_bytes(), pem, keyfiles.certificate_fingerprint(pem)
    )  # fmt: skip


def all_public() -> list[PublicKey]:
    """Return every key there ever was, the oldest first. It makes none."""
    return [_public(row) for row in SigningKey.objects.order_by("in_use_from", "pk")]


def _public(row: SigningKey) -> PublicKey:
    return PublicKey(
        row.use, row.public, raw_of(row).hex() if row.use == KeyUse.LOG else "", row.fingerprint,
        row.in_use_from, row.in_use_until, json.loads(row.passed_on) if row.passed_on else None,
    )  # fmt: skip


def raw_of(row: SigningKey) -> bytes:
    """Return the 32 bytes of a key of the log: the last ones of its DER form (RFC 8410, section 4)."""
    return base64.b64decode("".join(row.public.splitlines()[1:-1]))[-box_key.BYTES :]


def origin() -> str:
    """Return the name of this log, which stays when keys are passed on.

    Errors: KeyFaultError before the first start.
    """
    first = SigningKey.objects.filter(use=KeyUse.LOG).order_by("in_use_from", "pk").first()
    if first is None:
        raise KeyFaultError(_("This box has no keys yet: they are made when it is started."))
    return f"deepstead/{first.fingerprint[:ORIGIN_DIGITS]}"


def box_name() -> str:
    """Return the name of this box in the names of what leaves it; a box that was never started has a common one."""
    try:
        return origin().replace("/", "-")
    except KeyFaultError:
        return "deepstead"
