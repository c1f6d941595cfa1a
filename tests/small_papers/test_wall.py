"""The wall sheet: no state without its time, an end after which it says nothing, numbers that were confirmed, digits."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

import facility
from facility import house, services
from facility.models import Contact, ContactKind, KeyUse, ShutDown, Site, SiteRole
from facility.report.sealing_check import faults_of
from facility.small_papers.making import Print, html_of, pdf_of
from facility.small_papers.marks import addresses
from facility.small_papers.wall import wall_of
from facility.small_papers.wall_paper import wall_paper
from facility.trust import checkpoints, keys
from facility.trust.keyfiles import certificate, certificate_fingerprint
from tests import make
from tests.facility.readiness_db import build
from tests.small_papers.reading import signed_in, sizes_of, text_of

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 28, 11, 0, tzinfo=UTC)
#: 11:00 UTC is 12:00 in Oslo in winter
WRITTEN = "28 Nov 2026 12:00"
#: ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch
A4, LETTER_WIDE = (595, 842), (792, 612)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: Any) -> Site:
    """Return a site with one table that is ready until a calibration ends, and one whose gauge is out."""
    monkeypatch.setattr(settings, "DATA_DIR", tmp_path)
    site = make.site(zone="Europe/Oslo", evacuation_plan="By boat to the next chamber.")
    chamber = make.chamber(site)
    good, out = make.equipment(site, tag="GOOD-1"), make.equipment(site, tag="OUT-1")
    make.work(make.rule(good), date(2026, 5, 28))  # good through 28 Nov 2026
    make.work(make.rule(out), date(2026, 1, 1))
    build.plan(chamber, "five", build.need(chamber, "gauge", good), table_min=60)
    build.plan(chamber, "six", build.need(chamber, "other", out))
    return site


def _contact(site: Site, name: str, confirmed_on: date | None, **fields: Any) -> Contact:
    kind = fields.pop("kind", ContactKind.PHYSICIAN)
    return services.add(
        Contact(site=site, key=name.lower().replace(" ", "-"), kind=kind, name=name, phone=f"+00 {len(name)}",
                confirmed_on=confirmed_on, **fields),
        by=make.BY,
    )  # fmt: skip


def _printed(site: Site, size: str = "A4", *, seal: bool = False) -> Print:
    return Print(site, AT, "Ina Test", 42, size, seal)


def test_the_sheet_is_void_from_the_first_end_of_a_table_that_could_start(site: Site) -> None:
    """Good through 28 November by the site's clock; a run of an hour must end by then, so it starts before 23:00."""
    found = wall_of(site, AT)
    assert [(one.table, one.state) for one in found.lines] == [("FIVE", "Ready"), ("SIX", "Not ready")]
    assert found.void_from == datetime(2026, 11, 28, 22, 0, tzinfo=UTC)


def test_where_no_end_is_on_record_it_is_void_once_a_check_would_be_too_old(site: Site) -> None:
    at = AT + timedelta(days=30)  # by then nothing can be started, so no table has an end
    limit = timedelta(minutes=int(house.values(site)["check_age_min"]))
    assert wall_of(site, at).void_from == at + limit


def test_a_table_that_can_start_later_by_itself_ends_the_sheet_too(site: Site) -> None:
    until = AT + timedelta(hours=2)
    shut = ShutDown(chamber=site.chambers.get(), starts_at=AT - timedelta(hours=1), ends_at=until, why="pool test")
    services.add(shut, by=make.BY)
    found = wall_of(site, AT)
    assert {one.state for one in found.lines} == {"Not ready"}
    assert found.lines[0].ready_from == until
    assert found.void_from == until


def test_no_state_word_stands_without_the_time_as_of_which_it_holds(site: Site) -> None:
    page = html_of(wall_paper(_printed(site)), _printed(site))
    cells = re.findall(r'<td class="state">.*?</td>', page, re.DOTALL)
    assert len(cells) == 2
    assert all(WRITTEN in cell for cell in cells)
    outside = re.sub(r'<td class="state">.*?</td>', "", page, flags=re.DOTALL)
    assert not re.search(r"\b(Ready|Not ready|Not known)\b", outside)


def test_it_says_loudly_that_it_is_old_and_until_when(site: Site) -> None:
    printed = _printed(site)
    pdf = pdf_of(wall_paper(printed), printed)
    said = text_of(pdf)
    assert "OLD FROM THE MOMENT IT WAS PRINTED" in said
    assert f"as known at {WRITTEN} (Europe/Oslo) and holds until 28 Nov 2026 23:00 at the longest" in said
    assert "From 28 Nov 2026 23:00 on this sheet says nothing: take it down." in said
    assert "Call first, do not drive." in said
    assert "By boat to the next chamber." in said
    assert "newest event 42" in said
    assert faults_of(pdf) == []
    assert sizes_of(pdf) == {A4}


def test_only_numbers_that_were_confirmed_in_time_are_printed(site: Site) -> None:
    days = int(house.values(site)["contact_confirm_days"])
    _contact(site, "Duty physician", AT.date() - timedelta(days=days))
    _contact(site, "Old physician", AT.date() - timedelta(days=days + 1))
    _contact(site, "Never rung", None)
    _contact(site, "Fire brigade", AT.date(), kind=ContactKind.EMERGENCY)
    _contact(site, "Gas supplier", AT.date(), kind=ContactKind.SUPPLIER)
    found = wall_of(site, AT)
    assert [one.name for one in found.contacts] == ["Fire brigade", "Duty physician"]
    assert found.unconfirmed == ("Never rung", "Old physician")
    page = html_of(wall_paper(_printed(site)), _printed(site))
    assert "+00 14" in page  # of the duty physician
    assert "+00 13" not in page  # of the old one
    assert "+00 10" not in page  # of the one never rung
    assert "Not printed, since the numbers were not confirmed in time: Never rung, Old physician. Ring them" in page


def test_one_number_that_was_not_confirmed_is_one(site: Site) -> None:
    _contact(site, "Never rung", None)
    page = html_of(wall_paper(_printed(site)), _printed(site))
    assert "Not printed, since the number was not confirmed in time: Never rung. Ring it and confirm it." in page


def test_without_a_confirmed_number_there_is_room_for_one_and_no_silence(site: Site) -> None:
    assert "No confirmed number is on record" in html_of(wall_paper(_printed(site)), _printed(site))


def test_the_digits_are_those_of_the_keys_the_verifiers_and_the_newest_head(site: Site) -> None:
    keys.ensure()
    head = checkpoints.make("test")
    said = "".join(text_of(pdf_of(wall_paper(_printed(site)), _printed(site))).split()).lower()
    folder = Path(facility.__file__).parent / "pack" / "verifier"
    for name in ("verify.py", "verify.html"):
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() in said
    log = keys.in_use(KeyUse.LOG)
    assert log is not None
    assert log.fingerprint.lower() in said
    assert certificate_fingerprint(certificate()).lower() in said
    assert bytes(head.root).hex()[:32] in said


def test_a_sealed_sheet_keeps_its_standards_and_names_the_certificate(site: Site) -> None:
    printed = _printed(site, "Letter", seal=True)
    pdf = pdf_of(wall_paper(printed, wide=True), printed)
    assert b"/ByteRange" in pdf
    assert faults_of(pdf) == []
    assert sizes_of(pdf) == {LETTER_WIDE}
    assert "carries the seal of the box" in text_of(pdf)


def test_hostile_names_stay_text(site: Site) -> None:
    _contact(site, "Eve", AT.date(), other="<script>alert(1)</script><a href='file:///etc/passwd'>x</a>")
    pdf = pdf_of(wall_paper(_printed(site)), _printed(site))
    assert "<script>alert(1)</script>" in text_of(pdf)
    assert b"/Launch" not in pdf
    assert faults_of(pdf) == []


def test_each_state_has_a_shape_of_its_own() -> None:
    shapes = {addresses()[name] for name in ("ready", "limits", "stop", "unknown")}
    assert len(shapes) == 4


def test_the_number_of_queries_does_not_grow(site: Site) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            wall_of(site, AT)
        return len(taken)

    queries()
    before = queries()
    chamber = site.chambers.get()
    for number in range(8):
        item = make.equipment(site, tag=f"M-{number}")
        build.plan(chamber, f"more-{number}", build.need(chamber, f"need-{number}", item))
        _contact(site, f"Person {number}", AT.date())
    assert queries() == before


def test_the_page_asks_how_it_hangs_and_sends_the_sheet(site: Site) -> None:
    client = signed_in(make.user(site, SiteRole.TENDER))
    assert b"the long side across" in client.get(f"/{site.key}/papers/wall/").content
    answer = client.get(f"/{site.key}/papers/wall/", {"size": "A4", "turned": "wide"})
    assert answer["Content-Type"] == "application/pdf"
    refused = client.get(f"/{site.key}/papers/wall/", {"size": "A4", "turned": "upside down"})
    assert refused.status_code == 422
