"""Files that prove something: what is taken, what is refused, how they leave."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import sys
import uuid
import zipfile
from typing import TYPE_CHECKING

import pikepdf
import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from PIL import Image

from facility import evidence, parsing
from facility.models import Answer, Event, Evidence
from tests.walk.conftest import client_of
from tests.walk.pictures import (
    jpeg,
    pdf,
    pdf_that_unpacks_to,
    pdf_with_a_file_on_its_page,
    png,
    png_that_claims,
    upload_of,
)
from tests.walk.walking import World, begin, world

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.django_db


def take(w: World, name: str, content: bytes) -> Evidence:
    return evidence.accept(upload_of(name, content), site=w.site, by=w.by)


@pytest.mark.parametrize(
    ("name", "content", "media_type"),
    [("a.png", png(), "image/png"), ("a.JPG", jpeg(), "image/jpeg"), ("a.jpeg", jpeg(), "image/jpeg"), ("a.pdf", pdf(), "application/pdf"), ("a.png", jpeg(), "image/jpeg")],
)  # fmt: skip
def test_pdf_png_and_jpeg_are_taken_by_what_they_are(w: World, name: str, content: bytes, media_type: str) -> None:
    assert take(w, name, content).media_type == media_type


def test_a_file_lies_under_its_digest_and_the_original_digest_is_in_the_event(w: World, evidence_dir: Path) -> None:
    """SHA-256 by hashlib over the stored bytes and over the bytes that were sent."""
    kept = take(w, "../../etc/name.png", png())
    (stored,) = [path for path in evidence_dir.rglob("*") if path.is_file()]
    assert stored.name == kept.sha256 == hashlib.sha256(stored.read_bytes()).hexdigest()
    assert kept.original_name == "name.png"
    payload = json.loads(Event.objects.get(action="file taken in").payload)
    assert payload["after"]["original_sha256"] == hashlib.sha256(png()).hexdigest()


def test_the_same_file_twice_is_one_row(w: World) -> None:
    assert take(w, "a.png", png()) == take(w, "b.png", png())
    assert Event.objects.filter(action="file taken in").count() == 1
    other = world()
    assert take(other, "a.png", png()).site == other.site


def _zip() -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("evil.html", "<script>alert(1)</script>" * 20)
    return target.getvalue()


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!doctype html><script>alert(1)</script>"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.png", b"", "is empty"),
        ("a.svg", SVG, "must end in"),
        ("a.png", SVG, "is not a PDF, PNG or JPEG"),
        ("a.jpg", HTML, "is not a PDF, PNG or JPEG"),
        ("a.html", png(), "must end in"),
        ("a", png(), "must end in"),
        ("a.pdf", png(), "not what the file is"),
        ("a.png", pdf(), "not what the file is"),
        ("a.png", png()[:40], "is damaged"),
        ("a.jpg", jpeg()[:200], "is damaged"),
        ("a.png", b"\x89PNG\r\n\x1a\n" + HTML, "is damaged"),
        ("a.png", png_that_claims(50_000, 50_000), "million pixels"),
        ("a.png", png_that_claims(13_000, 1), "million pixels"),
        ("a.png", png_that_claims(9_000, 9_000), "million pixels"),
        ("a.pdf", b"%PDF-1.7\n" + HTML, "is damaged"),
        ("a.pdf", pdf()[:300] + b"\n%%EOF", "is damaged"),
        ("a.pdf", pdf() + _zip(), "something behind its end"),
        ("a.pdf", pdf(OpenAction=pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")), "/J"),
        ("a.pdf", pdf(OpenAction=pikepdf.Dictionary(S=pikepdf.Name.Launch, F="evil.exe")), "/Launch"),
        ("a.pdf", pdf(Names=pikepdf.Dictionary(EmbeddedFiles=pikepdf.Dictionary())), "/EmbeddedFiles"),
        ("a.pdf", pdf_with_a_file_on_its_page(), "/EF"),
        ("a.pdf", pdf(OpenAction=pikepdf.Dictionary(S=pikepdf.Name.SubmitForm, F="http://example.org/")), "/SubmitForm"),
        ("a.pdf", pdf_that_unpacks_to(300), "is damaged"),
        ("a.pdf", pdf(pages=0), "0 pages"),
        ("a.pdf", pdf(pages=301), "301 pages"),
        ("a.jpg", b"\xff\xd8\xff" + b"0" * (10 * 1024 * 1024), "larger than 10 MB"),
    ],
)  # fmt: skip
def test_a_hostile_or_broken_file_is_refused_by_name_and_leaves_nothing(
    w: World, evidence_dir: Path, name: str, content: bytes, says: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        take(w, name, content)
    assert says in refused.value.messages[0]
    assert not Evidence.objects.exists()
    assert not list(evidence_dir.rglob("*"))


def test_an_ordinary_pdf_with_packed_lists_of_objects_is_taken(w: World) -> None:
    assert take(w, "a.pdf", pdf_that_unpacks_to(1)).media_type == "application/pdf"


def test_what_takes_too_long_to_parse_is_refused_and_the_box_goes_on(w: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parsing, "LONGEST_S", 0.001)
    with pytest.raises(ValidationError, match="more memory or time"):
        take(w, "a.png", png())
    monkeypatch.undo()
    assert take(w, "a.png", png()).pk


def test_what_takes_more_memory_than_given_ends_in_a_process_of_its_own() -> None:
    """The limit is the one set on that process: with hardly any, even a small picture is not read."""
    program = "import facility.parsing as p, sys; p.MOST_MEMORY = 64 * p.MIB; sys.exit(p.main())"
    line = [sys.executable, "-c", program]
    done = subprocess.run(line, input=b"image/png\n" + png((6000, 6000)), capture_output=True, check=False, timeout=60)
    assert done.returncode != 0
    assert b"MemoryError" in done.stderr or b"memory" in done.stderr.lower()


def test_the_largest_picture_that_is_taken_fits_into_the_memory(w: World) -> None:
    assert take(w, "a.png", png((8000, 5000))).media_type == "image/png"


def test_a_locked_pdf_is_refused(w: World) -> None:
    document = pikepdf.Pdf.new()
    document.add_blank_page()
    target = io.BytesIO()
    document.save(target, encryption=pikepdf.Encryption(owner="a", user="b"))
    with pytest.raises(ValidationError, match="locked by a password"):
        take(w, "a.pdf", target.getvalue())


def test_what_hides_behind_or_beside_the_pixels_is_gone(w: World) -> None:
    """Pillow reads the stored file again: same pixels, no comment, no place, no tail."""
    place = Image.Exif()
    place[0x8825] = {1: "N", 2: (60.0, 10.0, 0.0)}
    sent = jpeg(exif=place, comment=b"<script>alert(1)</script>") + HTML + _zip()
    stored = evidence.read_back(take(w, "photo.jpg", sent))
    assert b"script" not in stored
    assert b"PK\x03\x04" not in stored
    image = Image.open(io.BytesIO(stored))
    assert image.size == (8, 6)
    assert not image.getexif()
    assert "comment" not in image.info


def test_an_ordinary_opening_view_is_no_reason_to_refuse(w: World) -> None:
    assert take(w, "a.pdf", pdf(OpenAction=pikepdf.Array([0, pikepdf.Name.Fit]))).pk


def test_a_file_leaves_as_an_attachment_under_our_name(w: World) -> None:
    kept = take(w, 'evil".html.png', png())
    answer = client_of(w, "inspector").get(reverse("walk:evidence", args=[w.site.key, kept.pk]))
    assert answer.status_code == 200
    assert answer.content == evidence.read_back(kept)
    assert answer["Content-Disposition"] == f'attachment; filename="evidence-{kept.pk}.png"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Type"] == "image/png"
    assert "sandbox" in answer["Content-Security-Policy"]


def test_a_file_is_not_handed_to_strangers(w: World) -> None:
    kept = take(w, "a.png", png())
    other = world()
    stranger = client_of(other, "director")
    assert stranger.get(reverse("walk:evidence", args=[w.site.key, kept.pk])).status_code == 404
    assert stranger.get(reverse("walk:evidence", args=[other.site.key, kept.pk])).status_code == 404
    assert Client().get(reverse("walk:evidence", args=[w.site.key, kept.pk])).status_code == 302


def test_a_file_altered_on_disk_is_not_handed_out(w: World) -> None:
    kept = take(w, "a.png", png())
    evidence.path_of(kept.sha256).write_bytes(png((9, 9)))
    answer = client_of(w, "director").get(reverse("walk:evidence", args=[w.site.key, kept.pk]))
    assert answer.status_code == 410
    assert "no longer what was taken in" in answer.content.decode()


def test_a_photo_goes_with_an_answer_and_a_bad_one_costs_neither_value_nor_note(w: World) -> None:
    check = begin(w)
    client = client_of(w, "tender")
    address = reverse("walk:answer", args=[w.site.key, check.pk])
    entry = {"client_id": str(uuid.uuid4()), "step": "supply", "value": "8.1", "note": "see photo"}
    refused = client.post(address, entry | {"photo": upload_of("a.png", SVG)})
    assert refused.status_code == 422
    text = refused.content.decode()
    assert "is not a PDF, PNG or JPEG" in text
    assert 'value="8.1"' in text
    assert 'value="see photo"' in text
    client.post(address, entry | {"photo": upload_of("a.jpg", jpeg())})
    stored = Answer.objects.get()
    assert stored.photo is not None
    assert stored.photo.media_type == "image/jpeg"
