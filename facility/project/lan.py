"""HTTPS in a closed network: a small authority of the house, a server certificate of it, and how long both are good."""

from __future__ import annotations

import ipaddress
import os
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

FOLDER: Final = "lan"
AUTHORITY, AUTHORITY_KEY = "authority.pem", "authority-key.pem"
SERVER, SERVER_KEY = "server.pem", "server-key.pem"
AUTHORITY_DAYS: Final = 3650
#: the most that common browsers take, from memory
SERVER_DAYS: Final = 397
BACKDATED: Final = timedelta(hours=1)
NAME: Final = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


class LanError(ValueError):
    """A certificate cannot be made; the text says what to do."""


@dataclass(frozen=True, slots=True)
class Issued:
    """What was written: the folder, the fingerprint of the authority, and the end of the server's certificate."""

    folder: Path
    fingerprint: str
    good_until: datetime
    new_authority: bool


def issue(names: Sequence[str], folder: Path, *, now: datetime) -> Issued:
    """Write a server certificate for these names and addresses; the authority is made once and kept.

    Errors: LanError for what is no host name or address.
    """
    alternatives = [_alternative(name) for name in names]
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    new = not (folder / AUTHORITY_KEY).is_file()
    if new:
        _make_authority(folder, now)
    authority = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
    signer = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), password=None)
    if not isinstance(signer, ec.EllipticCurvePrivateKey):
        raise LanError(
            f"{folder / AUTHORITY_KEY} is no key of this kind. Move the folder away and make a new authority."
        )
    key, end = ec.generate_private_key(ec.SECP256R1()), now + timedelta(days=SERVER_DAYS)
    builder = _builder(_name(names[0]), authority.subject, key, now, end)
    builder = builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    builder = builder.add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
    builder = builder.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key())
    made = builder.add_extension(issuer, critical=False).sign(signer, hashes.SHA256())
    pem = serialization.Encoding.PEM
    _write(folder / SERVER_KEY, _private(key))
    _write(folder / SERVER, made.public_bytes(pem) + authority.public_bytes(pem))
    return Issued(folder, fingerprint(authority), end, new)


def _make_authority(folder: Path, now: datetime) -> None:
    key, name = ec.generate_private_key(ec.SECP256R1()), _name("Deepstead authority of this house")
    usage = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    builder = _builder(name, name, key, now, now + timedelta(days=AUTHORITY_DAYS))
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(usage, critical=True)
    made = builder.sign(key, hashes.SHA256())
    _write(folder / AUTHORITY, made.public_bytes(serialization.Encoding.PEM))
    _write(folder / AUTHORITY_KEY, _private(key))


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, end: datetime
) -> x509.CertificateBuilder:
    builder = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key.public_key())
    builder = builder.serial_number(x509.random_serial_number())
    builder = builder.not_valid_before(now - BACKDATED).not_valid_after(end)
    return builder.add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def _alternative(name: str) -> x509.GeneralName:
    with suppress(ValueError):
        return x509.IPAddress(ipaddress.ip_address(name))
    if not NAME.fullmatch(name.lower()):
        raise LanError(
            f"{name!r} is no host name and no address. Give what browsers type, such as chamber.lan or 192.168.1.5."
        )
    return x509.DNSName(name.lower())


def _private(key: ec.EllipticCurvePrivateKey) -> bytes:
    form = serialization.PrivateFormat.PKCS8
    return key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption())


def _write(path: Path, content: bytes) -> None:
    """Write a file for its owner only, whole or not at all."""
    unfinished = path.with_name(f".{path.name}-unfinished")
    unfinished.unlink(missing_ok=True)
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)


def fingerprint(certificate: x509.Certificate) -> str:
    """Return the SHA-256 of a certificate as browsers show it: pairs of hex digits with colons."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()
