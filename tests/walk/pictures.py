"""Small pictures and PDFs, good and hostile, made by the libraries that define them."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import pikepdf
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image


def png(size: tuple[int, int] = (8, 6)) -> bytes:
    target = io.BytesIO()
    Image.new("RGB", size, (200, 30, 30)).save(target, "PNG")
    return target.getvalue()


def jpeg(**options: Any) -> bytes:
    target = io.BytesIO()
    Image.new("RGB", (8, 6), (200, 30, 30)).save(target, "JPEG", **options)
    return target.getvalue()


def pdf(pages: int = 1, **root: Any) -> bytes:
    document = pikepdf.Pdf.new()
    for _ in range(pages):
        document.add_blank_page()
    for name, value in root.items():
        document.Root[f"/{name}"] = value
    target = io.BytesIO()
    document.save(target)
    return target.getvalue()


def png_that_claims(width: int, height: int) -> bytes:
    """Return a PNG whose header claims a size, with hardly any data behind it (ISO/IEC 15948, IHDR)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


def pdf_that_unpacks_to(mebibytes: int) -> bytes:
    """Return a PDF of one page, small as sent, whose list of objects unpacks to so much (ISO 32000-1, 7.5.7 and 7.5.8)."""
    packer = zlib.compressobj(9)
    blanks = (packer.compress(bytes([32]) * 2**20) for _step in range(mebibytes))
    packed = b"".join([packer.compress(b"5 0 << /A 1 >>"), *blanks, packer.flush()])
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /X 5 0 R >>", b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /Resources << >> /MediaBox [0 0 9 9] >>",
        b"<< /Type /ObjStm /N 1 /First 4 /Filter /FlateDecode /Length %d >>\nstream\n%b\nendstream" % (len(packed), packed),
    ]  # fmt: skip
    whole, rows = b"%PDF-1.5\n", [(0, 0, 65535)]
    for number, text in enumerate(objects, 1):
        rows.append((1, len(whole), 0))
        whole += b"%d 0 obj\n%b\nendobj\n" % (number, text)
    rows += [(2, 4, 0), (1, len(whole), 0)]
    table = b"".join(struct.pack(">BIH", *row) for row in rows)
    head = b"<< /Type /XRef /Size 7 /W [1 4 2] /Root 1 0 R /Length %d >>" % len(table)
    return whole + b"6 0 obj\n%b\nstream\n%b\nendstream\nendobj\nstartxref\n%d\n%%%%EOF\n" % (head, table, len(whole))


def pdf_with_a_file_on_its_page() -> bytes:
    """Return a PDF that carries a file as a note of its page, in no list of the document (ISO 32000-1, 12.5.6.15)."""
    document = pikepdf.Pdf.new()
    page = document.add_blank_page()
    carried = pikepdf.Dictionary(
        Type=pikepdf.Name.Filespec, F="a.exe", EF=pikepdf.Dictionary(F=document.make_stream(b"MZ"))
    )
    note = pikepdf.Dictionary(
        Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.FileAttachment, Rect=[0, 0, 9, 9], FS=carried
    )
    page.Annots = pikepdf.Array([document.make_indirect(note)])
    target = io.BytesIO()
    document.save(target)
    return target.getvalue()


def upload_of(name: str, content: bytes | None = None) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, png() if content is None else content)
