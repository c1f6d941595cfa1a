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


def upload_of(name: str, content: bytes | None = None) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, png() if content is None else content)
