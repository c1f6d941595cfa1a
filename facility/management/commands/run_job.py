"""Run one job by hand, now."""

from __future__ import annotations

import inspect
import json
import os
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from facility import events
from facility.jobs import runner
from facility.jobs.progress import heard_by
from facility.jobs.queue import Kind, enqueue
from facility.jobs.tasks import KINDS
from facility.jobs.worker import kept
from facility.management.records_command import RecordsCommand
from facility.project.celery import app

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(RecordsCommand):
    help = "Run one job by hand, now."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", choices=[kind.value for kind in Kind])
        parser.add_argument("--arguments", type=json.loads, default={}, help="a JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        app.set_current()
        _refuse_wrong(options["name"], options["arguments"])
        now = events.now()
        job = runner.claim_this(enqueue(options["name"], options["arguments"]), f"by-hand:{os.getpid()}", now=now)
        if job is None:
            raise CommandError("The job runner has taken this job already; its outcome is kept with the job.")
        with heard_by(self.say), kept(job):
            well = runner.run(job, clock=events.now)
        job.refresh_from_db()
        if not well:
            raise CommandError(job.error)
        self.stdout.write(job.outcome)


def _refuse_wrong(name: str, arguments: object) -> None:
    """Refuse arguments that the job does not take, before a row of it is stored.

    Errors: CommandError that names those it takes.
    """
    takes = inspect.signature(KINDS[name].run).parameters
    given = set(arguments) if isinstance(arguments, dict) else {"?"}
    asked = {one.name for one in takes.values() if one.default is one.empty}
    if given <= set(takes) and asked <= given:
        return
    if not takes:
        raise CommandError(f"The job {name} takes no --arguments.")
    example = json.dumps(dict.fromkeys(takes, "..."))
    raise CommandError(f"The job {name} has to be told what to work on: --arguments '{example}', as a JSON object.")
