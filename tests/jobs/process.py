"""A runner, a dispatcher or a worker with short leases and one kind of job that leaves marks. Words: MODE, PACE, LEASE in s."""

from __future__ import annotations

import sys
import time
from datetime import timedelta
from pathlib import Path

import django


def main(mode: str, pace: float = 1.0, lease_s: float = 2.0) -> None:
    django.setup()
    from celery import shared_task
    from django.conf import settings
    from django.db import transaction

    from facility import events, services
    from facility.jobs import dispatch, loop, runner, tasks
    from facility.models import Organisation
    from facility.project.celery import app

    app.set_current()
    folder = Path(settings.DATA_DIR)

    @shared_task(name="tests.mark")
    def mark(number: int) -> str:
        """Leave a sign, do the work once, leave a sign, and take a while to end."""
        (folder / f"begun-{number}-{time.monotonic_ns()}").touch()
        time.sleep(0.4 * pace)
        with transaction.atomic():
            if not Organisation.objects.select_for_update().filter(key=f"job-{number}").exists():
                services.add(Organisation(key=f"job-{number}", name=f"Job {number}"), by=events.system("mark"))
        (folder / f"worked-{number}").touch()
        time.sleep(0.6 * pace)
        return f"Marked {number}."

    runner.LEASE = timedelta(seconds=lease_s)
    loop.BEAT_SECONDS = lease_s / 4
    tasks.KINDS["mark"] = mark
    if mode == "worker":
        from django.core.management import call_command

        call_command("run_worker")
    else:
        (dispatch.Dispatcher if mode == "dispatcher" else loop.Loop)([]).run()


if __name__ == "__main__":
    main(sys.argv[1], *map(float, sys.argv[2:]))
