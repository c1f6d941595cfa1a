"""The seal of a paper, against a signer's own reading, a second validator and pdfsig."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asn1crypto import pem, x509  # type: ignore[import-untyped]
from cryptography import x509 as certificates
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from facility.papers.printing import PrintingError, pressed
from facility.report.pages import REPORT_STYLE, style
from facility.report.seal import sealed
from facility.report.sealing_check import NotPublishedError, faults_of

PAGE = (
    '<!DOCTYPE html><html lang="en"><head><title>Sealed</title></head><body><h1 data-foot="f" data-page-word="page">'
    "Sealed</h1><p>A paper with one sentence.</p></body></html>"
)


def material() -> tuple[bytes, bytes]:
    """Return a P-256 key and a certificate that it made for itself, both PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = certificates.Name([certificates.NameAttribute(NameOID.COMMON_NAME, "Box of a test")])
    now = datetime.now(UTC)
    made = (
        certificates.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(certificates.random_serial_number()).not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=400))
        .add_extension(certificates.KeyUsage(True, True, False, False, False, False, False, False, False), critical=True)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return secret, made.public_bytes(serialization.Encoding.PEM)


@pytest.fixture(scope="module")
def paper() -> tuple[bytes, bytes]:
    """Return a sealed paper and the certificate of its seal."""
    key, certificate = material()
    return sealed(pressed(PAGE, REPORT_STYLE, style()), key, certificate), certificate


def _status(pdf: bytes, certificate: bytes) -> object:
    root = x509.Certificate.load(pem.unarmor(certificate)[2])
    signature = PdfFileReader(io.BytesIO(pdf)).embedded_signatures[0]
    return validate_pdf_signature(signature, ValidationContext(trust_roots=[root]))


def test_a_sealed_paper_is_intact_trusted_and_allows_no_change(paper: tuple[bytes, bytes]) -> None:
    status = _status(*paper)
    assert status.intact  # type: ignore[attr-defined]
    assert status.valid  # type: ignore[attr-defined]
    assert status.trusted  # type: ignore[attr-defined]
    assert status.docmdp_ok  # type: ignore[attr-defined]


def test_a_flipped_byte_breaks_the_seal(paper: tuple[bytes, bytes]) -> None:
    pdf, certificate = paper
    place = pdf.index(b"PDF/UA identification")
    changed = pdf[: place + 8] + bytes([pdf[place + 8] ^ 1]) + pdf[place + 9 :]
    try:
        status = _status(changed, certificate)
    except Exception:  # a file that cannot be read any more is not trusted either
        return
    assert not status.intact  # type: ignore[attr-defined]


def test_a_sealed_paper_still_keeps_both_standards(paper: tuple[bytes, bytes]) -> None:
    assert faults_of(paper[0]) == []


def test_a_paper_that_breaks_a_standard_is_not_published(paper: tuple[bytes, bytes]) -> None:
    broken = pressed(PAGE, REPORT_STYLE, style()).replace(b"pdfuaid:part>1<", b"pdfuaid:part>7<")
    with pytest.raises(NotPublishedError, match="PDF_UA_1"):
        sealed(broken, *material())


def test_pdfsig_calls_the_seal_valid(paper: tuple[bytes, bytes], tmp_path: Path) -> None:
    program = shutil.which("pdfsig")
    if program is None:
        pytest.skip("pdfsig (Debian package poppler-utils) is not installed here.")
    file = tmp_path / "sealed.pdf"
    file.write_bytes(paper[0])
    told = subprocess.run([program, str(file)], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid" in told


def test_the_page_maker_reaches_neither_files_nor_network() -> None:
    for address in ("file:///etc/hostname", "http://127.0.0.1:9/x.png"):
        with pytest.raises(PrintingError, match="not taken into a paper"):
            pressed(PAGE.replace("<p>", f'<p><img alt="x" src="{address}">'), REPORT_STYLE)
