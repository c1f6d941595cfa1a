"""A job run by hand: its lease is kept as a worker's is, and what it must be told is asked for in words."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any

import pytest
from celery import shared_task
from django.core.management import CommandError, call_command

from facility import events
from facility.jobs import runner, tasks
from facility.jobs.queue import Kind
from facility.models import Job

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both]
RENEWED_WITHIN_S = 20.0


@shared_task(name="tests.waits_for_its_lease")
def waits_for_its_lease() -> str:
    """Run until the lease was lengthened, as a job does that takes longer than one lease."""
    first = Job.objects.get().lease_until
    last = events.steady_seconds() + RENEWED_WITHIN_S
    while events.steady_seconds() < last:
        if Job.objects.get().lease_until != first:
            return "Kept."
    return "Lost."


def test_a_job_by_hand_that_takes_longer_than_a_lease_is_not_begun_a_second_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(runner, "LEASE", timedelta(seconds=2))
    monkeypatch.setitem(tasks.KINDS, "tidy", waits_for_its_lease)
    out = io.StringIO()
    call_command("run_job", "tidy", stdout=out)
    assert out.getvalue() == "Kept.\n"
    assert Job.objects.get().tries == 1


@pytest.mark.parametrize(
    ("name", "arguments", "words"),
    [
        (Kind.COPY_BACKUP, {}, """--arguments '{"file": "...", "number": "..."}'"""),
        (Kind.BUILD_PACK, {"number": 1}, """--arguments '{"pack": "..."}'"""),
        (Kind.SWEEP, {"site": 1}, "The job sweep takes no --arguments."),
        (Kind.BUILD_PACK, [1], "as a JSON object"),
    ],
)
def test_what_a_job_must_be_told_is_asked_for_and_no_row_is_stored(name: str, arguments: Any, words: str) -> None:
    with pytest.raises(CommandError) as caught:
        call_command("run_job", str(name), arguments=arguments)
    assert words in str(caught.value)
    assert not Job.objects.exists()
