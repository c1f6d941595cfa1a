"""Run the jobs that a broker brings, until stopped."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.project.celery import BROKER_URL, app

if TYPE_CHECKING:
    from argparse import ArgumentParser

QUIET = ("--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING")


class Command(BaseCommand):
    help = "Run the jobs that the broker of DEEPSTEAD_BROKER_URL brings, until stopped by Ctrl-C or SIGTERM."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--at-once", type=int, default=1, help="jobs at the same time, each in a process of its own"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not BROKER_URL:
            raise CommandError(
                "There is no broker: DEEPSTEAD_BROKER_URL is empty. Set it, or let `manage.py run_jobs` do the work."
            )
        number = options["at_once"]
        if number < 1:
            raise CommandError(f"--at-once {number}: give 1 or more.")
        pool = "solo" if number == 1 else "prefork"
        app.set_current()
        app.worker_main(["--quiet", "worker", "--pool", pool, "--concurrency", str(number), *QUIET])
