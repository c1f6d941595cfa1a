"""What a monitor is told: alive, ready by parts, and numbers with a token; no login, no names, few queries."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from prometheus_client.parser import text_string_to_metric_families

from facility import events
from facility.health import measures, parts
from facility.models import Event, Heartbeat, Job
from facility.readiness.services import evaluate_chamber
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from pathlib import Path

    from django.http import HttpResponse

pytestmark = [pytest.mark.django_db, pytest.mark.both]

T = build.T
TOKEN = "a-token-of-the-test"


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> None:
    """A still clock, and a data folder without backups, certificate and faults."""
    monkeypatch.setattr(events, "now", lambda: T)
    settings.DATA_DIR, settings.BACKUP_COPIES, settings.BACKUP_COMMAND = tmp_path, [], ""


@pytest.fixture
def beating() -> Heartbeat:
    return Heartbeat.objects.create(name="jobs@box", beat_at=T - timedelta(seconds=20), started_at=T)


def ask(name: str, **headers: str) -> Any:
    return Client().get(reverse(f"health:{name}"), headers=headers)


def bearer(token: str = TOKEN) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def samples(answer: HttpResponse) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Return the samples as an independent reader of the format finds them (the prometheus_client library)."""
    text = answer.content.decode()
    return {
        (one.name, tuple(sorted(one.labels.items()))): one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def test_the_addresses_are_those_that_monitors_ask_by_habit() -> None:
    assert [reverse(f"health:{name}") for name in ("alive", "ready", "metrics")] == ["/healthz", "/readyz", "/metrics"]


def test_alive_asks_no_database(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        answer = ask("alive")
    assert (answer.status_code, answer.content) == (200, b"alive\n")
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.usefixtures("beating")
def test_ready_tells_each_part(django_assert_max_num_queries: Any) -> None:
    with django_assert_max_num_queries(6):
        answer = ask("ready")
    told = answer.json()
    assert (answer.status_code, told["ready"]) == (200, True)
    assert set(told["parts"]) == {"database", "disk", *parts.RESTING}
    assert set(parts.RESTING) == {"clock", "scheduler", "jobs", "backup", "notices", "certificate", "records"}
    assert told["parts"]["scheduler"] == {"ok": True, "age_s": 20.0}
    assert "no-store" in answer["Cache-Control"]
    assert answer["Content-Type"] == "application/json"


def broken() -> set[str]:
    answer = ask("ready")
    bad = {name for name, part in answer.json()["parts"].items() if not part["ok"]}
    assert answer.status_code == (503 if bad else 200)
    assert all(part["ok"] or part["advice"] for part in answer.json()["parts"].values())
    return bad


def test_a_runner_that_was_never_seen_or_stands_still_is_not_ready(beating: Heartbeat) -> None:
    Heartbeat.objects.update(beat_at=T - parts.SCHEDULER_LATE)
    assert broken() == set()
    Heartbeat.objects.update(beat_at=T - parts.SCHEDULER_LATE - timedelta(seconds=1))
    assert broken() == {"scheduler"}
    beating.delete()
    assert broken() == {"scheduler"}


def test_a_beat_that_lies_ahead_is_no_sign_of_life(beating: Heartbeat) -> None:
    """The clock was set back a day and no runner has beaten since."""
    Heartbeat.objects.update(beat_at=T + timedelta(days=1))
    assert broken() == {"scheduler"}


@pytest.mark.usefixtures("beating")
def test_a_job_that_waits_too_long_is_not_ready_but_one_at_work_is() -> None:
    job = Job.objects.create(kind="tidy", made_at=T, due_at=T - parts.JOB_LATE - timedelta(seconds=1))
    assert broken() == {"jobs"}
    Job.objects.update(lease_until=T + timedelta(seconds=30), lease_owner="jobs@box:1")
    assert broken() == set()
    Job.objects.update(lease_owner="sent:box")
    assert broken() == {"jobs"}
    job.finished_at = T
    job.save()
    assert broken() == set()


@pytest.mark.usefixtures("beating")
def test_a_full_disk_is_not_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage("/")
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: usage._replace(free=199 * 1024 * 1024))
    assert broken() == {"disk"}
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: usage._replace(free=200 * 1024 * 1024))
    assert broken() == set()


@pytest.mark.usefixtures("beating")
def test_a_clock_behind_the_records_is_not_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    make.organisation()
    assert Event.objects.exists()
    monkeypatch.setattr(events, "now", lambda: T - timedelta(seconds=61))
    assert broken() == {"clock"}


@pytest.mark.usefixtures("beating")
def test_a_database_that_does_not_answer_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: object, **__: object) -> None:
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(parts, "scheduler_age_s", gone)
    assert broken() == {"database", *parts.RESTING}


def test_numbers_need_a_token(settings: Any) -> None:
    assert ask("metrics", **bearer()).status_code == 404
    settings.METRICS_TOKEN = TOKEN
    for headers in ({}, bearer("wrong"), {"authorization": f"Basic {TOKEN}"}, bearer("")):
        answer = ask("metrics", **headers)
        assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")
    assert ask("metrics", **bearer()).status_code == 200


@pytest.fixture
def counted(settings: Any, beating: Heartbeat) -> dict[Any, float]:
    settings.METRICS_TOKEN = TOKEN
    build.worked_example()
    Job.objects.create(kind="tidy", made_at=T, due_at=T - timedelta(minutes=5))
    Job.objects.create(kind="tidy", made_at=T, due_at=T, dead_at=T)
    answer = ask("metrics", **bearer())
    assert answer["Content-Type"].startswith("text/plain; version=0.0.4")
    assert "no-store" in answer["Cache-Control"]
    return samples(answer)


def test_each_plan_is_in_exactly_the_state_that_the_pages_show(counted: dict[Any, float]) -> None:
    from facility.models import Chamber

    shown = evaluate_chamber(Chamber.objects.get(), T).evaluations["tt6"].state
    told = {dict(labels)["state"]: value for (name, labels), value in counted.items() if name == "deepstead_plan_state"}
    assert set(told) == {"Ready", "Ready with limits", "Not known", "Not ready"}
    assert [state for state, value in told.items() if value] == [str(shown)]


def test_jobs_heartbeat_and_due_days_are_counted(counted: dict[Any, float]) -> None:
    """Two gauges calibrated on 1 November 2026 for 12 months: good through 1 November 2027, 339 days on."""
    assert counted["deepstead_jobs", (("state", "waiting"),)] == 1
    assert counted["deepstead_jobs", (("state", "dead"),)] == 1
    assert counted["deepstead_oldest_waiting_job_seconds", ()] == 300
    assert counted["deepstead_scheduler_age_seconds", ()] == 20
    rule = (("site", "skerrow"), ("sort", "rule"))
    assert counted["deepstead_due_nearest_days", rule] == (date(2027, 11, 1) - T.date()).days
    assert counted["deepstead_due_things", (*rule, ("within", "later"))] == 2
    assert counted["deepstead_due_things", (*rule, ("within", "never recorded"))] == 1


def test_no_person_is_named(settings: Any, counted: dict[Any, float]) -> None:
    text = ask("metrics", **bearer()).content.decode()
    assert "deepstead_plan_state" in text
    assert "Ana" not in text
    assert '"ana"' not in text


def test_the_queries_are_nine_however_many_records(settings: Any, counted: dict[Any, float]) -> None:
    settings.METRICS_TOKEN = TOKEN
    for _ in range(5):
        build.good_gauge(make.chamber(make.site()))
    with CaptureQueriesContext(connection) as caught:
        measures.measures(T)
    assert len(caught) == 9


def test_a_label_with_quotes_and_lines_is_read_back_as_it_was() -> None:
    from facility.health.exposition import Gauge, written

    odd = 'a "quoted" \\ back\nslash'
    gauge = Gauge("deepstead_test", "Help.")
    gauge.add(1.5, odd=odd)
    (family,) = text_string_to_metric_families(written([gauge]))
    assert [(one.labels, one.value) for one in family.samples] == [({"odd": odd}, 1.5)]
