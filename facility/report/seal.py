"""The seal of a paper: a PAdES signature by the box's P-256 key that allows no change afterwards.

It says that this box made exactly these bytes, not that what they tell is true.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

FIELD: Final = "PackSeal"
FIELD_WORDS: Final = "Seal of the facility's box"
#: bytes kept free for the signature, one after another: the table of places that is packed behind them may end in a
#: byte that some readers take for an end of line; another room moves the places, and so that byte
ROOMS: Final = (8192, 8194, 8196, 8198)
REASON: Final = "Made by this box; nothing may be changed afterwards"


def seal(path: Path) -> bytes:
    """Return the bytes of a PDF with the seal of this box.

    Errors: NotPublishedError if the PDF, or what sealing made of it, breaks PDF/A-3a or PDF/UA-1.
    """
    from facility.trust.keys import seal_material  # noqa: PLC0415  # opens the key only where something is sealed

    material = seal_material()
    return sealed(path.read_bytes(), material.key_pem, material.certificate_pem, path.name)


def sealed(pdf: bytes, key_pem: bytes, certificate_pem: bytes, name: str = "paper.pdf") -> bytes:
    """Return a PDF sealed with this key and its certificate. Errors: as of seal()."""
    from facility.report.sealing_check import faults_of, refuse_faulty  # noqa: PLC0415  # brings the validator

    refuse_faulty(pdf, name)
    made = b""
    for room in ROOMS:
        made = _signed(pdf, key_pem, certificate_pem, room)
        if not faults_of(made):
            return made
    refuse_faulty(made, name)
    return made


def _signed(pdf: bytes, key_pem: bytes, certificate_pem: bytes, room: int) -> bytes:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter  # noqa: PLC0415  # megabytes
    from pyhanko.sign import fields, signers  # noqa: PLC0415  # as above

    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    #: rewriting the metadata would lose how they describe themselves, which PDF/A asks for
    writer._update_meta = lambda: None  # type: ignore[method-assign]  # no setting leaves them as they are
    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD, reason=REASON, certify=True, docmdp_permissions=fields.MDPPerm.NO_CHANGES,
        subfilter=fields.SigSeedSubFilter.PADES, md_algorithm="sha256",
    )  # fmt: skip
    spec = fields.SigFieldSpec(
        FIELD, readable_field_name=FIELD_WORDS,
        invis_sig_settings=fields.InvisSigSettings(set_print_flag=True, set_hidden_flag=False, box_out_of_bounds=True),
    )  # fmt: skip
    target = io.BytesIO()
    signer = signers.PdfSigner(metadata, _signer(key_pem, certificate_pem), new_field_spec=spec)
    signer.sign_pdf(writer, output=target, bytes_reserved=room)
    return target.getvalue()


def _signer(key_pem: bytes, certificate_pem: bytes) -> Any:
    from asn1crypto import keys, pem, x509  # type: ignore[import-untyped]  # noqa: PLC0415  # brought by the signer
    from cryptography.hazmat.primitives import serialization  # noqa: PLC0415  # megabytes
    from pyhanko.sign.signers import SimpleSigner  # noqa: PLC0415  # as above
    from pyhanko_certvalidator.registry import SimpleCertificateStore  # noqa: PLC0415  # as above

    key = serialization.load_pem_private_key(key_pem, password=None)
    plain = key.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    _name, _headers, certificate = pem.unarmor(certificate_pem)
    return SimpleSigner(
        signing_cert=x509.Certificate.load(certificate), signing_key=keys.PrivateKeyInfo.load(plain),
        cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]
    )  # fmt: skip
