"""Threats at the door, in what is sent in and in what leaves: each test is named after the threat."""

from __future__ import annotations

import io
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from facility import events, evidence, record_check
from facility.backup import making
from facility.compute.csv_writing import safe_cell
from facility.health import parts
from facility.models import Evidence, Heartbeat, SiteRole
from facility.papers import printing
from facility.papers.printing import STYLE, PrintingError, pressed
from tests import make
from tests.backup.kit import KEY
from tests.visits.test_findings import client_of
from tests.walk.pictures import pdf, pdf_that_unpacks_to, pdf_with_a_file_on_its_page, png, png_that_claims

ROOT = Path(__file__).resolve().parents[2]
JAVASCRIPT = pdf(OpenAction=pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)"))
HOSTILE = "<script>alert(1)</script>"


@pytest.mark.django_db
def test_stolen_tablet_shows_nothing_after_signing_out_and_keeps_nothing() -> None:
    """The browser is told to store no page; after signing out the way back leads to the door."""
    site = make.site()
    client = client_of(site, SiteRole.SUPERVISOR)
    page = reverse("places:people", args=[site.key])
    assert client.get(page).headers["Cache-Control"] == "no-store"
    client.post(reverse("accounts:logout"))
    assert client.get(page).status_code == 302


@pytest.mark.django_db
def test_stolen_tablet_left_alone_is_signed_out_and_can_be_ended_from_another_device(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.IDLE_MIN = 15
    site = make.site()
    user, page = make.user(site, SiteRole.SUPERVISOR), reverse("places:people", args=[site.key])
    tablet, home = Client(), Client()
    for one in (tablet, home):
        one.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        assert one.get(page).status_code == 200
    home.post(reverse("accounts:end_devices"))
    assert (tablet.get(page).status_code, home.get(page).status_code) == (302, 200)
    later = events.now() + timedelta(minutes=16)
    monkeypatch.setattr(events, "now", lambda: later)
    assert home.get(page).status_code == 302


@pytest.mark.django_db
def test_lockout_used_to_block_the_team_blocks_one_name_at_one_address_only() -> None:
    """50 wrong passwords from one tablet; the same name elsewhere and another name there still get in."""
    user, other = make.user(), make.user()
    tablet, elsewhere = Client(REMOTE_ADDR="192.0.2.1"), Client(REMOTE_ADDR="192.0.2.2")
    door = reverse("accounts:login")
    for number in range(50):
        tablet.post(door, {"username": user.username, "password": f"wrong {number}"})
    right = {"password": make.PASSWORD}
    assert tablet.post(door, right | {"username": user.username}).status_code == 429
    assert elsewhere.post(door, right | {"username": user.username}).status_code == 302
    assert tablet.post(door, right | {"username": other.username}).status_code == 302


@pytest.mark.django_db(transaction=True)
def test_lost_or_stolen_backup_shows_no_text_of_a_record(tmp_path: Path) -> None:
    make.person(name="Marker Name Of A Person")
    made = making.make(tmp_path, KEY, by=make.BY)
    content = made.path.read_bytes()
    assert b"Marker Name" not in content
    assert b"facility.person" not in content


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.pdf", b"%PDF-1.7<script>"), ("a.svg", b"<svg onload='alert(1)'/>"), ("a.png", b""),
        ("bomb.png", png_that_claims(50_000, 50_000)), ("a.pdf", JAVASCRIPT), ("a.png", b"GIF89a<script>"),
        ("bomb.pdf", pdf_that_unpacks_to(300)), ("carrier.pdf", pdf_with_a_file_on_its_page()), ("a.jpg", b"PK\x03\x04"), ("a.exe", b"MZ"), ("a.png", b"\xff\xd8\xff\xe0"),
    ],
)  # fmt: skip
def test_malicious_upload_is_refused_and_nothing_is_stored(name: str, content: bytes, evidence_dir: Path) -> None:
    """A magic word alone opens no door: each file is parsed (more kinds in the tests of evidence)."""
    with pytest.raises(ValidationError):
        evidence.accept(SimpleUploadedFile(name, content), site=make.site(), by=make.BY)
    assert not Evidence.objects.exists()
    assert not list(evidence_dir.rglob("*.*"))


@pytest.mark.django_db
def test_malicious_upload_behind_good_pixels_is_cut_off(evidence_dir: Path) -> None:
    target = io.BytesIO()
    Image.new("RGB", (8, 8)).save(target, "PNG")
    row = evidence.accept(
        SimpleUploadedFile("a.png", target.getvalue() + HOSTILE.encode()), site=make.site(), by=make.BY
    )
    assert HOSTILE.encode() not in evidence.read_back(row)
    assert evidence_dir.is_dir()


@pytest.mark.parametrize("cell", ["=1+1", "+1+1", "-1+1", "@x", "\t=1", "\r=1", "\uff1d1+1", "\n=1", "\0=1"])
def test_formula_injection_opens_as_text(cell: str) -> None:
    """OWASP ASVS 5.0, 1.2.10: a cell that a spreadsheet would run gets an apostrophe in front."""
    assert safe_cell(cell).startswith("'")


@pytest.mark.parametrize("cell", ["-1.5", "12", "1e3", "", "Depth gauge"])
def test_formula_injection_is_no_reason_to_spoil_a_number(cell: str) -> None:
    assert safe_cell(cell) == cell


@pytest.mark.django_db
def test_script_in_every_name_is_only_text_on_the_pages() -> None:
    site = make.site(name=HOSTILE)
    person = make.person(site, name=HOSTILE, note=HOSTILE)
    make.equipment(site, name=HOSTILE, place=HOSTILE)
    client = client_of(site, SiteRole.DIRECTOR)
    for name, more in (
        ("places:people", ()),
        ("places:plant", ()),
        ("places:events", ()),
        ("visits:person", (person.pk,)),
    ):
        answer = client.get(reverse(name, args=[site.key, *more]))
        assert HOSTILE not in answer.content.decode(), name
        assert "unsafe" not in answer.headers["Content-Security-Policy"]


@pytest.mark.django_db
def test_script_in_every_name_is_only_text_on_a_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the page-maker is given of a statement, with hostile names in it, holds no element of theirs."""
    site = make.site(name=HOSTILE)
    given: list[str] = []

    def press(html: str, _style: Path, *_size: str) -> bytes:
        given.append(html)
        return b"%PDF"

    monkeypatch.setattr(printing, "pressed", press)
    client_of(site, SiteRole.SUPERVISOR).get(reverse("readiness:statement", args=[site.key]))
    assert "&lt;script&gt;alert(1)" in given[0]
    assert HOSTILE not in given[0]


class Asked(BaseHTTPRequestHandler):
    """Counts who asks."""

    def do_GET(self) -> None:
        """Count it."""
        server: Any = self.server
        server.hits += 1
        self.send_response(200)
        self.end_headers()


@pytest.mark.parametrize(
    "hostile",
    [
        '<img src="{url}">', '<link rel="stylesheet" href="{url}">', '<style>@import "{url}";</style>',
        '<p style="background:url({url})">x</p>', '<object data="{url}"></object>',
        '<a rel="attachment" href="file:///etc/passwd">x</a>', '<link rel="attachment" href="file:///etc/passwd">',
        '<img alt="x" src="{file}">', '<style>@font-face {{ font-family: a; src: url({url}) }} body {{ font-family: a }}</style>x',
        '<img alt="x" src="data:image/svg+xml;utf8,<svg xmlns=%22http://www.w3.org/2000/svg%22 xmlns:xlink=%22http://www.w3.org/1999/xlink%22'
        ' width=%2210%22 height=%2210%22><image width=%2210%22 height=%2210%22 xlink:href=%22{url}%22/></svg>">',
    ],
)  # fmt: skip
def test_the_page_maker_is_sent_to_the_network_or_to_a_file_and_goes_nowhere(hostile: str, tmp_path: Path) -> None:
    """Either the paper is refused, or it is made without what was asked for: no request arrives, no file is inside."""
    server: Any = HTTPServer(("127.0.0.1", 0), Asked)
    server.hits = 0
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        picture = tmp_path / "a.png"
        picture.write_bytes(png())
        asked = hostile.format(url=f"http://127.0.0.1:{server.server_port}/", file=picture.as_uri())
        html = f"<html lang='en'><title>x</title><body>{asked}"
        try:
            made = pressed(html, STYLE)
        except PrintingError:
            made = b""
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=5)
    assert server.hits == 0
    assert b"root:" not in made
    assert b"EmbeddedFile" not in made
    assert b"/Subtype /Image" not in made


@pytest.mark.django_db
def test_scheduled_job_silently_dead_shows_in_health_while_pages_stay_right() -> None:
    assert not parts.scheduler(timedelta(hours=26).total_seconds()).ok
    assert not parts.scheduler(None).ok
    site = make.site()
    make.work(make.rule(make.equipment(site)), make.DAY)
    due = client_of(site, SiteRole.SUPERVISOR).get(reverse("places:plant", args=[site.key]))
    seen = events.now() - timedelta(hours=26)
    Heartbeat.objects.create(name="jobs@test", beat_at=seen, started_at=seen)
    page = client_of(site, SiteRole.SUPERVISOR).get(reverse("readiness:now", args=[site.key])).content.decode()
    assert "The job runner has not been seen since" in page
    assert "verdue" in due.content.decode(), "due since 12 September 2026, reckoned as the page is read"
    assert record_check.verify().ok


def test_dependency_swap_is_refused_since_every_package_has_its_digest() -> None:
    """Each line of both lists that names a package is followed by at least one SHA-256."""
    for name in ("requirements.txt", "tests/requirements.txt"):
        text = (ROOT / name).read_text(encoding="utf-8").replace("\\\n", " ")
        lines = [line for line in text.splitlines() if line and not line.startswith(("#", " "))]
        assert len(lines) > 40
        assert all("--hash=sha256:" in line for line in lines), name
    installer = (ROOT / "facility/project/bootstrap.py").read_text(encoding="utf-8")
    assert "--require-hashes" in installer
