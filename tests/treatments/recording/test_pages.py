"""Taking a recorded file in: asked how it is meant, shown before it is stored, laid beside the log."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from facility.evidence import read_back
from facility.models import Event, Evidence, SiteRole
from tests import make
from tests.treatments.compute.records import Flaws
from tests.treatments.recording.support import entry, log_six, run_on, signed_in, text_of_six
from treatments.models import LogKind, RecordedProfile, Run
from treatments.recording.disagreements import beside_log
from treatments.recording.sentences import lines_about

pytestmark = pytest.mark.django_db

MEANT: dict[str, Any] = {
    "instrument": "DG-3", "time": "0", "time_form": "seconds", "depth": "1", "unit": "fsw", "delimiter": ";", "decimal": ".",
    "head_row": "1",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Any) -> None:
    settings.EVIDENCE_DIR = tmp_path


def page_of(run: Run) -> str:
    return reverse("treatments:take_profile", args=[run.chamber.site.key, run.pk])


def sent(client: Client, run: Run, text: str | bytes, name: str = "dg3.csv") -> Any:
    raw = text if isinstance(text, bytes) else text.encode()
    return client.post(page_of(run), {"upload": SimpleUploadedFile(name, raw)})


def taken(client: Client, run: Run, text: str, **fields: Any) -> Any:
    """Send a file and what it means, and store it."""
    address = sent(client, run, text).headers["Location"]
    return client.post(address, MEANT | fields | {"keep": "1"})


@pytest.fixture
def run() -> Run:
    return run_on()


@pytest.fixture
def client(run: Run) -> Client:
    return signed_in(make.user(run.chamber.site, SiteRole.OPERATOR))


def test_a_record_is_shown_before_it_is_stored_and_kept_by_its_digest(client: Client, run: Run) -> None:
    text = text_of_six(Flaws(every_s=2))
    answer = sent(client, run, text)
    evidence = Evidence.objects.get()
    assert (answer.status_code, evidence.sha256) == (302, hashlib.sha256(text.encode()).hexdigest())
    assert read_back(evidence) == text.encode()
    look = client.post(answer.headers["Location"], MEANT | {"look": "1"})
    assert (look.status_code, RecordedProfile.objects.count()) == (200, 0)
    assert "288.0 min" in look.content.decode()
    stored = client.post(answer.headers["Location"], MEANT | {"keep": "1"})
    row = RecordedProfile.objects.get()
    assert stored.headers["Location"] == reverse("treatments:profile", args=[run.chamber.site.key, row.pk])
    assert (row.samples, row.evidence, row.depth_unit, [one[0] for one in row.pieces]) == (
        8641, evidence, "fsw", ["descent", "stop", "ascent", "stop", "ascent"],
    )  # fmt: skip
    assert Event.objects.latest("seq").action == "recorded profile taken in"


def test_the_log_is_laid_beside_the_record_with_sizes(client: Client, run: Run) -> None:
    log_six(run, {LogKind.REACHED_STOP: 5})
    entry(run, LogKind.READING, 200, "26")
    taken(client, run, text_of_six(Flaws(noise=0.2)))
    row = RecordedProfile.objects.get()
    found = beside_log(row)
    late, wrong = [one for _, one in found.differing]
    assert [late.line.kind, wrong.line.kind] == ["reached_stop", "reading"]
    assert late.apart_min == pytest.approx(-5, abs=0.5)
    assert wrong.apart_fsw == pytest.approx(4, abs=0.3)
    page = client.get(reverse("treatments:profile", args=[run.chamber.site.key, row.pk])).content.decode()
    assert "2 lines differ from the record" in page
    assert "not in the record" not in page


def test_the_record_is_held_against_the_table_with_sizes(client: Client, run: Run) -> None:
    """The stop at 30 fsw cut by 20 min: table 6 has 150 min there (revision 4A)."""
    head, *rows = text_of_six(Flaws(noise=0.1)).splitlines()
    cut_out = [row for row in rows if not 200 * 60 <= float(row.split(";")[0]) < 220 * 60]
    moved = [
        f"{float(row.split(';')[0]) - (1200 if float(row.split(';')[0]) >= 13200 else 0):g};{row.split(';')[1]}"
        for row in cut_out
    ]
    taken(client, run, "\n".join([head, *moved]))
    row = RecordedProfile.objects.get()
    page = client.get(reverse("treatments:profile", args=[run.chamber.site.key, row.pk])).content.decode()
    assert "short stop" in page
    assert "table 150.0, recorded 130." in page or "table 150.0, recorded 129." in page


def test_gaps_and_missing_rows_are_shown_and_not_drawn_across(client: Client, run: Run) -> None:
    log_six(run)
    entry(run, LogKind.READING, 105, "20")
    lines = text_of_six(Flaws(noise=0.1, gap=(100, 110))).splitlines()
    lines[500] = lines[500].split(";")[0] + ";"
    taken(client, run, "\n".join(lines))
    row = RecordedProfile.objects.get()
    assert "gap" in [one[0] for one in row.pieces]
    assert [(one.line.minute, one.depth_differs) for _, one in beside_log(row).in_gaps] == [(105, False), (108, False)]
    assert any(line == "Left out for want of a depth: 1 row (501)." for line in lines_about(row.findings))
    page = client.get(reverse("treatments:profile", args=[run.chamber.site.key, row.pk])).content.decode()
    assert "gap: nothing recorded then" in page


def test_a_clock_that_is_off_is_told_in_minutes_and_the_record_still_fits(client: Client, run: Run) -> None:
    """The instrument waits 5 min at the surface and its clock is 2 min 30 s fast: noon UTC is 13:00 in Oslo."""
    rows = [line.split(";") for line in text_of_six(Flaws(noise=0.1, wait_s=300)).splitlines()[1:]]
    text = "t;d\n" + "".join(
        f"2026-03-12T{(seconds := int(float(time)) + 12 * 3600 - 300 + 150) // 3600:02d}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}Z;{depth}\n"
        for time, depth in rows
    )
    log_six(run)
    taken(client, run, text, time_form="instant")
    row = RecordedProfile.objects.get()
    assert row.offset_s == pytest.approx(300, abs=15)
    assert [one.line.kind for _, one in beside_log(row).differing] == []
    (clock,) = [one for one in row.findings if one["code"] == "clock"]
    assert clock["seconds"] == pytest.approx(150, abs=15)
    assert any("surface left 2 min" in line and "later than the log" in line for line in lines_about(row.findings))


def test_a_record_that_begins_at_depth_says_so(client: Client, run: Run) -> None:
    head, *rows = text_of_six(Flaws(every_s=2)).splitlines()
    taken(client, run, "\n".join([head, *rows[300:]]))
    (said,) = [
        line for line in lines_about(RecordedProfile.objects.get().findings) if "does not show the surface" in line
    ]
    assert "begins at 60" in said


def test_absolute_pressure_read_with_a_wrong_surface_is_told(client: Client, run: Run) -> None:
    """12 kPa too little at the surface: every depth is 3.9 fsw too deep (1 fsw = 3.0630 kPa, handbook section 7)."""
    rows = [line.split(";") for line in text_of_six(Flaws(noise=0)).splitlines()[1:]]
    text = "t;kPa abs\n" + "".join(f"{time};{float(depth) * 3.0630 + 101.3:.2f}\n" for time, depth in rows)
    taken(client, run, text, unit="kPa abs", surface_kpa="89.3")
    (said,) = [line for line in lines_about(RecordedProfile.objects.get().findings) if "not 0" in line]
    assert "3.9" in said


def test_a_refused_layout_keeps_the_file_and_what_was_typed(client: Client, run: Run) -> None:
    address = sent(client, run, "t;d\n0,0;0,0\n1,0;2,5\n2,0;3,5\n").headers["Location"]
    answer = client.post(address, MEANT | {"keep": "1", "instrument": "Recorder <7>"})
    page = answer.content.decode()
    assert (answer.status_code, RecordedProfile.objects.count(), Evidence.objects.count()) == (422, 0, 1)
    assert "Row 2, depth: “0,0” is not a number with a decimal point" in page
    assert "Recorder &lt;7&gt;" in page
    assert client.post(address, MEANT | {"decimal": ",", "look": "1"}).status_code == 200


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"unit": "kPa abs"}, "counts the air above"),
        ({"time_form": "clock"}, "need the day of the first row"),
        ({"depth": "0"}, "cannot stand in one column"),
        ({"surface_kpa": "1013"}, "1013 kPa is refused"),
        ({"unit": "ell"}, "ell"),
    ],
)
def test_what_a_choice_needs_is_asked_for(client: Client, run: Run, fields: dict[str, str], says: str) -> None:
    address = sent(client, run, text_of_six(Flaws(every_s=60))).headers["Location"]
    answer = client.post(address, MEANT | fields | {"look": "1"})
    assert (answer.status_code, says in answer.content.decode()) == (422, True)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "empty"),
        (b"%PDF-1.7\n1;2\n", "no text"),
        (b"one column\n1\n2\n", "No mark parts the rows"),
        (b"1;2\n" * 200_001, "more than 200000 rows"),
    ],
)
def test_a_file_that_is_no_record_is_refused_with_its_name(client: Client, run: Run, raw: bytes, says: str) -> None:
    answer = sent(client, run, raw, "dg3.csv")
    assert (answer.status_code, says in answer.content.decode(), Evidence.objects.count()) == (422, True, 0)


def test_a_struck_record_stays_visible_with_its_reason(client: Client, run: Run) -> None:
    taken(client, run, text_of_six(Flaws(every_s=5)))
    row = RecordedProfile.objects.get()
    page = reverse("treatments:profile", args=[run.chamber.site.key, row.pk])
    assert client.post(page, {"reason": " "}).status_code == 422
    assert client.post(page, {"reason": "of another chamber"}).status_code == 302
    assert "of another chamber" in client.get(page).content.decode()
    assert not RecordedProfile.objects.get().is_current


def test_a_file_leaves_as_an_attachment_and_is_not_opened_by_the_browser(client: Client, run: Run) -> None:
    taken(client, run, text_of_six(Flaws(every_s=5)))
    answer = client.get(reverse("walk:evidence", args=[run.chamber.site.key, Evidence.objects.get().pk]))
    assert answer.headers["Content-Type"] == "text/csv"
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="evidence-')
    assert answer.headers["Content-Disposition"].endswith('.csv"')


def test_a_file_of_another_site_or_of_another_kind_is_not_found(client: Client, run: Run) -> None:
    other = run_on()
    stranger = signed_in(make.user(other.chamber.site, SiteRole.OPERATOR))
    address = sent(client, run, text_of_six(Flaws(every_s=60))).headers["Location"]
    number = address.split("file=")[1]
    assert stranger.get(f"{page_of(other)}?file={number}").status_code == 404
    assert client.get(f"{page_of(run)}?file=x").status_code == 404
