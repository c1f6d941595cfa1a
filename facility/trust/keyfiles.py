"""The files of the private keys in the data folder: made whole or not at all, readable by their owner alone.

``box-key`` (Ed25519) signs heads of the log and packs; ``seal-key`` (P-256) with ``seal-cert.pem`` seals papers. While a
key is passed on, its successor lies beside it under the same name and ``.next``, until the database has it.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings

from facility import box_key
from facility.models import KeyUse

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

SEAL: Final = "seal-key"
CERTIFICATE: Final = "seal-cert.pem"
NEXT: Final = ".next"
FILES: Final = {KeyUse.LOG: (box_key.FILE,), KeyUse.SEAL: (SEAL, CERTIFICATE)}
CERTIFICATE_YEARS: Final = 30
"""Longer than records are kept; the end of use is told by rotation, never by the certificate."""


def path_of(name: str) -> Path:
    """Return where a file of keys lies."""
    return Path(settings.DATA_DIR) / name


def there(use: str) -> bool:
    """Return whether the files of a key are there, all of them."""
    return all(path_of(name).is_file() for name in FILES[KeyUse(use)])


def write(name: str, content: bytes) -> None:
    """Write one file whole, readable by its owner alone, in the place of what is there."""
    path = path_of(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f"{name}-{secrets.token_hex(6)}")
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)


def take_over(use: str) -> None:
    """Put the successor in the place of the old private key, of which no copy stays here."""
    for name in FILES[KeyUse(use)]:
        if path_of(name + NEXT).is_file():
            path_of(name + NEXT).replace(path_of(name))


def drop_next(use: str) -> None:
    """Remove a successor that never came into use."""
    for name in FILES[KeyUse(use)]:
        path_of(name + NEXT).unlink(missing_ok=True)


def log_key(ending: str = "") -> Ed25519PrivateKey:
    """Return the private key of the log. Errors: OSError if it is not there, ValueError if it is damaged."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415  # megabytes

    return Ed25519PrivateKey.from_private_bytes(path_of(box_key.FILE + ending).read_bytes())


def seal_key(ending: str = "") -> EllipticCurvePrivateKey:
    """Return the private key that seals papers. Errors as in log_key()."""
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey  # noqa: PLC0415  # megabytes
    from cryptography.hazmat.primitives.serialization import load_pem_private_key  # noqa: PLC0415  # as above

    key = load_pem_private_key(path_of(SEAL + ending).read_bytes(), password=None)
    if not isinstance(key, EllipticCurvePrivateKey):
        raise ValueError(f"{path_of(SEAL + ending)} holds no P-256 key. Put it back from a backup.")  # noqa: TRY004  # a wrong file
    return key


def certificate(ending: str = "") -> bytes:
    """Return the certificate of the sealing key as PEM."""
    return path_of(CERTIFICATE + ending).read_bytes()


def certificate_fingerprint(pem: bytes) -> str:
    """Return the SHA-256 of a certificate's DER bytes, as readers of sealed papers show it."""
    from ssl import PEM_cert_to_DER_cert  # noqa: PLC0415  # needed only here

    return hashlib.sha256(PEM_cert_to_DER_cert(pem.decode("ascii"))).hexdigest()


def make_log_key(ending: str = "") -> None:
    """Make an Ed25519 key."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415  # megabytes

    write(box_key.FILE + ending, Ed25519PrivateKey.generate().private_bytes_raw())


def make_seal_key(ending: str = "") -> None:
    """Make a P-256 key and its certificate, signed by itself: what it seals is this box's, nobody else vouches."""
    from cryptography.hazmat.primitives import serialization as form  # noqa: PLC0415  # megabytes
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415  # as above

    key = ec.generate_private_key(ec.SECP256R1())
    plain = form.NoEncryption()
    write(SEAL + ending, key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, plain))
    write(CERTIFICATE + ending, _self_made(key))


def _self_made(key: EllipticCurvePrivateKey) -> bytes:
    from cryptography import x509  # noqa: PLC0415  # megabytes
    from cryptography.hazmat.primitives import hashes, serialization  # noqa: PLC0415  # as above

    public = key.public_key()
    name = x509.Name(
        [
            x509.NameAttribute(x509.NameOID.ORGANIZATION_NAME, "Deepstead"),
            x509.NameAttribute(x509.NameOID.COMMON_NAME, f"Deepstead paper seal {secrets.token_hex(4)}"),
        ]
    )
    usage = dict.fromkeys(
        ("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign",
         "encipher_only", "decipher_only"), False,
    )  # fmt: skip
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(subject_name=name, issuer_name=name, public_key=public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=CERTIFICATE_YEARS * 365))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(digital_signature=True, content_commitment=True, **usage), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(key, hashes.SHA256())
    )
    return made.public_bytes(serialization.Encoding.PEM)
