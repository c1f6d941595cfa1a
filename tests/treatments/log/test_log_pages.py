"""The screen of the log and its addresses: entering, watching, taking over, correcting, paper."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility import events
from facility.models import Event, SiteRole
from tests import make
from tests.treatments.log.support import Made, opened, started
from tests.walk.pictures import png
from treatments.compute.log_times import ago
from treatments.log.reading import log_of
from treatments.models import LogEntry

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)
WATCHERS = 4
MOST_QUERIES = 12  # design goal of this project


def client_of(made: Made, role: str = SiteRole.OPERATOR) -> Client:
    client = Client()
    client.force_login(make.user(made.site, role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def url(made: Made, name: str, *more: Any) -> str:
    return reverse(f"treatments:{name}", args=[made.site.key, made.run.pk, *more])


def send(client: Client, made: Made, kind: str, **fields: Any) -> Any:
    data = {"client_id": str(uuid4()), "kind": kind, "device": "phone"} | fields
    return client.post(url(made, "log_entry"), json.dumps(data), content_type="application/json")


def test_an_entry_is_stored_and_acknowledged_with_its_number() -> None:
    made, _at = started()
    answer = send(client_of(made), made, "reading", depth="60", depth_unit="fsw", values={"o2_percent": "21,1"})
    said = answer.json()
    assert (answer.status_code, said["stored"], said["entry"]) == (200, True, Event.objects.latest("seq").seq)
    assert said["what"] == "60 fsw · 21.1 % O2"


def test_left_surface_keeps_what_readiness_said_and_is_never_held_back() -> None:
    made = opened()
    answer = send(client_of(made), made, "left_surface")
    assert answer.json()["stored"]
    run = made.fresh()
    assert run.started_at is not None
    assert made.run.plan.name in run.shown


def test_a_doubt_comes_back_as_a_question_and_a_refusal_in_words() -> None:
    made, _at = started()
    client = client_of(made)
    asked = send(client, made, "reading", values={"o2_percent": "40"})
    assert (asked.status_code, asked.json()["ask"]) == (409, True)
    refused = send(client, made, "reading", values={"o2_percent": "1,234"})
    assert (refused.status_code, refused.json()["ask"]) == (422, False)
    assert "thousand separator" in refused.json()["sentence"]
    assert send(client, made, "reading", values={"o2_percent": "40"}, sure=True).status_code == 200


@pytest.mark.parametrize(
    "body", ["{", "[]", '"x"', '{"kind": "note"}', '{"client_id": 1, "kind": "note", "values": 3}']
)
def test_what_cannot_be_read_is_refused_and_nothing_is_stored(body: str) -> None:
    made, _at = started()
    before = LogEntry.objects.count()
    answer = client_of(made).post(url(made, "log_entry"), body, content_type="application/json")
    assert answer.status_code == 422
    assert answer.json()["sentence"]
    assert LogEntry.objects.count() == before


def test_an_entry_of_another_account_is_not_sent_in_somebody_elses_name() -> None:
    made, _at = started()
    other = make.user(made.site, SiteRole.OPERATOR)
    answer = send(client_of(made), made, "note", remark="x", by=other.pk)
    assert answer.status_code == 422
    assert "another account" in answer.json()["sentence"]


def test_the_first_device_writes_and_what_a_former_one_sends_is_stored_and_marked() -> None:
    made, _at = started()
    client = client_of(made)
    send(client, made, "note", remark="one")
    assert made.fresh().writer_device == "phone"
    taken = client.post(url(made, "take_over"), headers={"X-Device": "tablet"})
    assert taken.json()["taken"]
    assert Event.objects.filter(action="log taken over").count() == 1
    send(client, made, "note", remark="queued before", seconds_ago=600)
    assert log_of(made.run)[-2].values["beside_writer"] == made.fresh().writer
    again = client.post(url(made, "take_over"), headers={"X-Device": "tablet"})
    assert again.json()["taken"]
    assert Event.objects.filter(action="log taken over").count() == 1
    assert client.post(url(made, "take_over")).status_code == 422


def test_a_watcher_hears_of_each_change_and_of_nothing_else() -> None:
    made, at = started()
    client = client_of(made, SiteRole.INSPECTOR)
    first = client.get(url(made, "log_since"))
    mark = first.headers["ETag"]
    assert client.get(url(made, "log_since"), headers={"If-None-Match": mark}).status_code == 304
    entry = made.add("note", at + MINUTE, remark="ears clear").entry
    second = client.get(url(made, "log_since"), headers={"If-None-Match": mark})
    assert "ears clear" in second.json()["html"]
    made.run.refresh_from_db()
    struck = client_of(made).post(url(made, "strike_entry", entry.pk), {"reason": "slip"})
    assert struck.status_code == 302
    third = client.get(url(made, "log_since"), headers={"If-None-Match": second.headers["ETag"]})
    assert "<s>note, ears clear</s>" in third.json()["html"]


def test_what_is_due_next_is_that_of_the_figures_moved_by_the_log() -> None:
    """Table 6: 20 min of oxygen after the arrival, then air (U.S. Navy, notes to table 6); the arrival was late."""
    made, at = started(minutes_ago=12)
    made.add("reached_depth", at + 8 * MINUTE, depth="60", depth_unit="fsw")
    made.add("oxygen_on", at + 8 * MINUTE, occupant=made.patient.pk)
    ahead = client_of(made).get(url(made, "log_since")).json()["state"]["ahead"]
    first = ahead[0]
    assert first["at"].startswith((at + 28 * MINUTE).isoformat(timespec="minutes")[:16])
    assert "patient 1" in first["what"]


def test_the_page_asks_for_few_rows_while_four_watch() -> None:
    made, at = started()
    for minute in range(1, 40):
        made.add("reading", at + minute * MINUTE, values={"o2_percent": "20.9"})
    watchers = [client_of(made, SiteRole.INSPECTOR) for _ in range(WATCHERS)]
    mark = watchers[0].get(url(made, "log_since")).headers["ETag"]
    with CaptureQueriesContext(connection) as asked:
        assert watchers[0].get(url(made, "log")).status_code == 200
    with CaptureQueriesContext(connection) as polled:
        for watcher in watchers:
            assert watcher.get(url(made, "log_since"), headers={"If-None-Match": mark}).status_code == 304
    assert len(asked) <= MOST_QUERIES
    assert len(polled) <= WATCHERS * 7


def test_a_line_is_corrected_on_its_page_and_what_was_typed_wrong_comes_back() -> None:
    made, at = started()
    entry = made.add("reading", at + MINUTE, values={"o2_percent": "22.1"}).entry
    client = client_of(made)
    address = url(made, "correct_entry", entry.pk)
    assert 'value="22.1"' in client.get(address).content.decode()
    wrong = client.post(address, {"client_id": uuid4(), "o2_percent": "two", "reason": "misread"})
    assert wrong.status_code == 422
    assert 'value="two"' in wrong.content.decode()
    done = client.post(address, {"client_id": uuid4(), "o2_percent": "21,1", "reason": "misread digit"})
    assert done.status_code == 302
    page = client.get(url(made, "log")).content.decode()
    assert "<s>22.1 % O2</s>" in page
    assert "misread digit" in page


def test_striking_asks_for_a_reason_and_spares_what_the_run_hangs_on() -> None:
    made, _at = started()
    client = client_of(made)
    left = log_of(made.run)[0]
    assert client.post(url(made, "strike_entry", left.pk), {"reason": ""}).status_code == 422
    answer = client.post(url(made, "strike_entry", left.pk), {"reason": "slip"}, headers={"Accept": "application/json"})
    assert (answer.status_code, answer.json()["struck"]) == (422, False)


def test_the_paper_has_numbered_lines_and_a_code_that_leads_to_keying_in() -> None:
    made, _at = started()
    page = client_of(made).get(url(made, "log_paper")).content.decode()
    assert "data:image/svg" in page
    assert url(made, "key_paper") in page
    assert all(f"<td>{number}</td>" in page for number in (1, 22))


def lines(made: Made, *rows: dict[str, str]) -> dict[str, Any]:
    local = events.now().astimezone(ZoneInfo(made.site.zone))
    data: dict[str, Any] = {"client_id": uuid4(), "day": f"{local:%Y-%m-%d}"}
    for number, row in enumerate(rows, 1):
        data |= {f"{number}.{name}": value for name, value in row.items()}
    return data


def clock(made: Made, minutes_ago: float) -> str:
    return f"{(events.now() - minutes_ago * MINUTE).astimezone(ZoneInfo(made.site.zone)):%d %b %Y %H:%M}"


def test_a_paper_log_is_keyed_in_with_its_scan_all_lines_or_none(tmp_path: Any, settings: Any) -> None:
    settings.EVIDENCE_DIR = tmp_path
    made = opened()
    client = client_of(made)
    rows = [
        {"clock": clock(made, 90), "kind": "left_surface"},
        {"clock": clock(made, 87), "kind": "reached_depth", "depth": "60"},
        {"clock": clock(made, 80), "kind": "reading", "depth": "60", "o2_percent": "400"},
    ]
    refused = client.post(url(made, "key_paper"), lines(made, *rows))
    assert refused.status_code == 422
    assert "400 % cannot be" in refused.content.decode()
    assert 'value="400"' in refused.content.decode()
    assert not LogEntry.objects.exists()
    assert made.fresh().started_at is None
    rows[2]["o2_percent"] = "20,9"
    data = lines(made, *rows) | {"scan": SimpleUploadedFile("paper.png", png(), "image/png")}
    assert client.post(url(made, "key_paper"), data).status_code == 302
    stored = log_of(made.run)
    assert [row.kind for row in stored] == ["left_surface", "reached_depth", "reading"]
    assert all(row.from_paper and row.late for row in stored)
    assert made.fresh().paper is not None
    again = client.post(url(made, "key_paper"), {**data, "scan": ""})
    assert again.status_code == 302
    assert LogEntry.objects.count() == 3


def test_a_paper_line_without_its_minutes_is_named(tmp_path: Any, settings: Any) -> None:
    settings.EVIDENCE_DIR = tmp_path
    made, _at = started()
    page = client_of(made).post(
        url(made, "key_paper"),
        lines(made, {"clock": "15", "kind": "note", "remark": "x"}, {"clock": "", "kind": "note"}),
    )
    text = page.content.decode()
    assert page.status_code == 422
    assert "is no time. Type it as 15:08" in text
    assert "The time is missing" in text


def test_the_screen_is_for_watching_where_the_role_may_not_write() -> None:
    made, _at = started()
    page = client_of(made, SiteRole.INSPECTOR).get(url(made, "log")).content.decode()
    assert "data-quick" not in page
    assert send(client_of(made, SiteRole.INSPECTOR), made, "note", remark="x").status_code == 403
    stranger = Client()
    stranger.force_login(make.user(make.site(), SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    assert stranger.get(url(made, "log")).status_code == 404


@pytest.mark.parametrize(
    "body",
    ["[" * 100_000, '{"a":' * 100_000, '{"kind": "note", "remark": "\\ud800"}', '{"kind": ' + "9" * 5000 + "}"],
)  # fmt: skip
def test_json_that_nothing_could_store_is_refused_in_words(body: str) -> None:
    """Nested past any stack, half of a character (RFC 8259 section 8.2), a number without end."""
    made, _at = started()
    answer = client_of(made).post(url(made, "log_entry"), body, content_type="application/json")
    assert answer.status_code == 422
    assert "Load the page again" in answer.json()["sentence"]


def test_an_entry_that_waited_longer_than_any_clock_can_say_counts_from_a_month_ago() -> None:
    made, _at = started()
    answer = send(client_of(made), made, "note", remark="x", seconds_ago=1e308)
    assert answer.status_code in (200, 409, 422)
    assert ago(1e308, make.NOON) == make.NOON - timedelta(days=30)


@pytest.mark.parametrize("clock", ["0001-01-01T00:00+14:00", "9999-12-31T23:59-14:00"])
def test_an_instant_at_the_ends_of_the_calendar_is_refused_in_words(clock: str) -> None:
    made, _at = started()
    answer = send(client_of(made), made, "note", remark="x", clock=clock)
    assert answer.status_code == 422
    assert clock in answer.json()["sentence"]
