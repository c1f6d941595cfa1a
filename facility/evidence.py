"""Taking in files that prove something: told by parsing them, stored by digest, never by name.

A photo is decoded and written anew, so that nothing rides behind its pixels and no place
of taking stays in it; the digest of the file as it came is kept in the event. A PDF stays
as it came, and is refused if it could act or carries another file. Both are parsed in a
process of their own (``parsing``), which a file made to unpack without end takes along.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import secrets
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from facility import events, parsing, services
from facility.models import Evidence
from facility.parsing import JPEG, PDF, PNG

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile
    from django.utils.functional import _StrPromise as StrPromise

    from facility.events import Actor
    from facility.models import Site

MOST_BYTES = 10 * 1024 * 1024
ENDINGS = {PDF: (".pdf",), PNG: (".png",), JPEG: (".jpg", ".jpeg")}
#: what the box itself makes or takes in as plain text, never as an upload of a photo or a scan
TEXT_ENDINGS = {"application/x-ndjson": ".jsonl", "text/csv": ".csv"}
ALLOWED = tuple(ending for endings in ENDINGS.values() for ending in endings)
_SIGNATURES = {b"%PDF-": PDF, b"\x89PNG\r\n\x1a\n": PNG, b"\xff\xd8\xff": JPEG}
ROOT = Path(__file__).parent.parent
#: what the parsing process found, in words
REFUSALS = {
    "damaged picture": _("“%(name)s” cannot be read as a picture: it is damaged. Take it again."),
    "large picture": _(
        "“%(name)s” has more than %(most)s million pixels or a side above %(side)s. Send a smaller picture."
    ),
    "behind its end": _("“%(name)s” carries something behind its end. Print it to a new PDF and send that."),
    "locked": _("“%(name)s” is locked by a password. Send it without."),
    "damaged PDF": _("“%(name)s” cannot be read as a PDF: it is damaged. Send it again."),
    "acts": _("“%(name)s” contains %(what)s: a record must not act or carry files. Print it to a new PDF."),
    "pages": _("“%(name)s” has %(pages)s pages; 1 to %(most)s are taken."),
    "too much": _(
        "“%(name)s” takes more memory or time to read than any photo or scan should. Print it to a new PDF, or take the"
        " picture again."
    ),
}
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Clean:
    """What will be stored."""

    content: bytes
    media_type: str


def accept(upload: UploadedFile[Any], *, site: Site, by: Actor) -> Evidence:
    """Store a PDF, PNG or JPEG and return its row; the same file again returns the first row.

    Errors: ValidationError naming the file, what is wrong with it, the limit and what to do.
    """
    name = PurePath(upload.name or "file").name[:200]
    raw = _read(upload, name)
    clean = _cleaned(raw, name)
    digest = hashlib.sha256(clean.content).hexdigest()
    _store(clean.content, digest)
    return _keep(Evidence(
        site=site, sha256=digest, media_type=clean.media_type, size_bytes=len(clean.content), original_name=name,
    ), hashlib.sha256(raw).hexdigest(), by=by)  # fmt: skip


def keep_text(content: bytes, media_type: str, name: str, *, site: Site, by: Actor) -> Evidence:
    """Store a text that was made or checked by the box itself; the same text again returns the first row.

    Errors: KeyError for a media type that is no text of ours.
    """
    ending = TEXT_ENDINGS[media_type]
    digest = hashlib.sha256(content).hexdigest()
    _store(content, digest)
    row = Evidence(
        site=site, sha256=digest, media_type=media_type, size_bytes=len(content),
        original_name=PurePath(name).name[:190] if name.endswith(ending) else f"{PurePath(name).name[:190]}{ending}",
    )  # fmt: skip
    return _keep(row, digest, by=by)


@transaction.atomic
def _keep(evidence: Evidence, original_sha256: str, *, by: Actor) -> Evidence:
    known = Evidence.objects.filter(site=evidence.site, sha256=evidence.sha256).first()
    if known is not None:
        return known
    evidence.recorded_at, evidence.recorded_by = events.now(), by.name
    evidence.full_clean(exclude=["recorded_by"])
    evidence.save(force_insert=True)
    what = events.What(
        action="file taken in",
        after=services.plain(evidence) | {"original_sha256": original_sha256},
        site_key=evidence.site.key,
    )
    events.record(evidence, what, by=by)
    return evidence


def _refuse(sentence: StrPromise | str, **values: object) -> ValidationError:
    return ValidationError(sentence, code="file", params=values)


def _read(upload: UploadedFile[Any], name: str) -> bytes:
    if PurePath(name).suffix.lower() not in ALLOWED:
        raise _refuse(
            _("“%(name)s”: its name must end in %(allowed)s. Save it as one of these."),
            name=name,
            allowed=", ".join(ALLOWED),
        )
    raw: bytes = upload.read(MOST_BYTES + 1)
    if not raw:
        raise _refuse(_("“%(name)s” is empty (0 bytes). Take or choose it again."), name=name)
    if len(raw) > MOST_BYTES:
        raise _refuse(
            _("“%(name)s” is larger than %(most)s MB. Send a smaller copy."), name=name, most=MOST_BYTES // 1024 // 1024
        )
    return raw


def _cleaned(raw: bytes, name: str) -> _Clean:
    media_type = next((kind for start, kind in _SIGNATURES.items() if raw.startswith(start)), "")
    if not media_type:
        raise _refuse(_("“%(name)s” is not a PDF, PNG or JPEG, whatever its name says. Send one of these."), name=name)
    if (PurePath(name).suffix.lower() == ".pdf") != (media_type == PDF):
        raise _refuse(
            _("“%(name)s”: the ending of its name is not what the file is. Save it under its own ending."), name=name
        )
    return _Clean(_parsed(raw, media_type, name), media_type)


def _parsed(raw: bytes, media_type: str, name: str) -> bytes:
    """Return what is to be stored of a file, parsed by a process of its own that ends with it.

    Errors: ValidationError with what that process refused, or that it needed more memory or time than it is given.
    """
    try:
        done = subprocess.run(  # this program's own module, nothing of the request in the command
            [sys.executable, "-m", "facility.parsing"], input=f"{media_type}\n".encode() + raw, capture_output=True,
            timeout=parsing.LONGEST_S, cwd=ROOT, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise _refuse(REFUSALS["too much"], name=name) from None
    head, _end, content = done.stdout.partition(b"\n")
    if done.returncode != 0:
        log.warning("a file of %s bytes was not parsed: %s", len(raw), done.stderr.decode(errors="replace")[-200:])
        raise _refuse(REFUSALS["too much"], name=name)
    told = json.loads(head)
    if told["refused"]:
        raise _refuse(REFUSALS[told["refused"]], name=name, **told["values"])
    return content


def path_of(sha256: str) -> Path:
    """Return where the file of a digest is stored."""
    return Path(settings.EVIDENCE_DIR) / sha256[:2] / sha256


def _store(content: bytes, digest: str) -> None:
    """Write the file under its digest; a power cut leaves the whole file or none."""
    target = path_of(digest)
    if target.is_file():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    unfinished = target.parent / f"unfinished-{secrets.token_hex(8)}"
    try:
        with unfinished.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(target)
    finally:
        unfinished.unlink(missing_ok=True)


def read_back(evidence: Evidence) -> bytes:
    """Return the stored bytes.

    Errors: ValidationError if the file is missing or is no longer what was taken in.
    """
    path = path_of(evidence.sha256)
    content = path.read_bytes() if path.is_file() else b""
    if hashlib.sha256(content).hexdigest() != evidence.sha256:
        raise _refuse(
            _("File %(number)s is missing or no longer what was taken in. Restore it from a backup."),
            number=evidence.pk,
        )
    return content


def served_name(evidence: Evidence) -> str:
    """Return the name under which a file leaves: ours, not the sender's."""
    ending = TEXT_ENDINGS.get(evidence.media_type) or ENDINGS[evidence.media_type][0]
    return f"evidence-{evidence.pk}{ending}"
