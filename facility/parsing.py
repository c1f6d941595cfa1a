"""Parses what somebody sent as a photo or a scan, in a process of its own with a limit of memory and time.

Run as a module: a line with the media type and then the file on standard input; on standard output a line of JSON
that says why it is "refused" (nothing for a good one) with the values of that sentence, then the bytes to be stored.
A file made to unpack without end ends this process and nothing else. Knows neither Django nor records.
"""

from __future__ import annotations

import io
import json
import resource
import sys
import warnings
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from PIL import Image

PDF, PNG, JPEG = "application/pdf", "image/png", "image/jpeg"
MIB: Final = 1024 * 1024
MOST_MEMORY: Final = 1024 * MIB
"""Address space; the largest picture that is taken needs half of it (tried)."""
LONGEST_S: Final = 30
MOST_UNPACKED: Final = 64 * MIB
"""Of one packed list of a PDF's objects; a scan of 300 pages needs less than one."""
MOST_PIXELS = 40_000_000
MOST_SIDE = 12_000
MOST_PAGES = 300
TAIL_BYTES = 64
JPEG_QUALITY = 90
#: what acts, sends, plays, or carries a file (ISO 32000-1, 12.6.4, 7.11.4 and 13)
ACTS = frozenset({
    "/JavaScript", "/JS", "/Launch", "/SubmitForm", "/ImportData", "/GoToE", "/EmbeddedFiles", "/EF", "/RichMedia",
    "/Rendition", "/Movie", "/Sound", "/3DD", "/XFA",
})  # fmt: skip
DEEPEST = 60


class RefusedError(ValueError):
    """A file that is not taken in: the key of the sentence that says why, and what stands in it."""

    def __init__(self, key: str, **values: object) -> None:
        super().__init__(key)
        self.key, self.values = key, values


def cleaned(raw: bytes, media_type: str) -> bytes:
    """Return what is to be stored of a file: a picture painted anew, a PDF as it came. Errors: RefusedError."""
    if media_type == PDF:
        look_through_pdf(raw)
        return raw
    return painted_anew(raw, "PNG" if media_type == PNG else "JPEG")


def painted_anew(raw: bytes, wanted: str) -> bytes:
    """Return the same picture, decoded and encoded again without anything beside its pixels. Errors: RefusedError."""
    from PIL import Image, ImageOps, UnidentifiedImageError  # noqa: PLC0415  # megabytes, not needed for a PDF

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(raw), formats=(wanted,))
        _refuse_large(image)
        image.load()
        ImageOps.exif_transpose(image, in_place=True)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_large() from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError) as error:
        if isinstance(error, RefusedError):
            raise
        raise RefusedError("damaged picture") from None
    mode = "RGBA" if wanted == "PNG" and "A" in image.getbands() else "RGB"
    pixels = image if image.mode == mode else image.convert(mode)
    pixels.info = {}  # comments, place, profile
    target = io.BytesIO()
    pixels.save(target, wanted, quality=JPEG_QUALITY)
    return target.getvalue()


def _refuse_large(image: Image.Image) -> None:
    if image.width * image.height > MOST_PIXELS or max(image.size) > MOST_SIDE:
        raise _too_large()


def _too_large() -> RefusedError:
    return RefusedError("large picture", most=MOST_PIXELS // 1_000_000, side=MOST_SIDE)


def look_through_pdf(raw: bytes) -> None:
    """Refuse a PDF that is damaged, locked, too long, or that would act or carry a file. Errors: RefusedError."""
    import pikepdf  # noqa: PLC0415  # megabytes, not needed for a picture

    if len(raw.rstrip()) - (raw.rfind(b"%%EOF") + len(b"%%EOF")) > TAIL_BYTES:
        raise RefusedError("behind its end")
    pikepdf.settings.set_qpdf_limits(flate_max_memory=MOST_UNPACKED)
    try:
        with pikepdf.open(io.BytesIO(raw), attempt_recovery=False) as document:
            _unpack_lists_of_objects(document)
            pages = len(document.pages)
            acts = next((act for entry in document.objects if (act := _act_in(entry, 0))), "")
    except pikepdf.PasswordError:
        raise RefusedError("locked") from None
    except (pikepdf.PdfError, RecursionError, ValueError):
        raise RefusedError("damaged PDF") from None
    if acts:
        raise RefusedError("acts", what=acts)
    if not 1 <= pages <= MOST_PAGES:
        raise RefusedError("pages", pages=pages, most=MOST_PAGES)


def _unpack_lists_of_objects(document: Any) -> None:
    """Raise if objects are packed so that they cannot be seen: the library would take them for nothing."""
    import pikepdf  # noqa: PLC0415  # as above

    for entry in document.objects:
        if isinstance(entry, pikepdf.Stream) and entry.get("/Type") == pikepdf.Name.ObjStm:
            entry.read_bytes()


def _act_in(entry: Any, depth: int) -> str:
    """Return what in an object and the objects written inside it would act, or nothing."""
    import pikepdf  # noqa: PLC0415  # as above

    if depth > DEEPEST:
        raise ValueError(depth)
    if isinstance(entry, pikepdf.Array):
        parts = list(entry)
    elif isinstance(entry, pikepdf.Dictionary | pikepdf.Stream):
        names = set(entry.keys()) | ({str(entry["/S"])} if "/S" in entry else set())
        if found := sorted(names & ACTS):
            return str(found[0])
        parts = [entry[name] for name in entry.keys()]  # noqa: SIM118  # not a mapping
    else:
        return ""
    written_here = (part for part in parts if not getattr(part, "is_indirect", True))
    return next((act for part in written_here if (act := _act_in(part, depth + 1))), "")


def main() -> int:
    """Answer for the file on standard input, within the limits."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))
    content, told = b"", {"refused": "", "values": {}}
    try:
        media_type = sys.stdin.buffer.readline().decode().strip()
        content = cleaned(sys.stdin.buffer.read(), media_type)
    except RefusedError as error:
        told = {"refused": error.key, "values": error.values}
    sys.stdout.buffer.write(json.dumps(told).encode() + b"\n" + content)
    return 0


if __name__ == "__main__":
    sys.exit(main())
