"""Run due jobs until stopped; with a broker, send them to the workers instead."""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand

from facility.jobs.dispatch import Dispatcher
from facility.jobs.loop import Loop
from facility.project.celery import BROKER_URL, app
from facility.project.schedule import DAILY
from facility.trust import looking

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Run due jobs until stopped by Ctrl-C or SIGTERM."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="run (or send) what is due now, then end")

    def handle(self, *args: Any, **options: Any) -> None:
        app.set_current()
        loop = Dispatcher(DAILY) if BROKER_URL else Loop(DAILY)
        if options["once"]:
            while loop.turn():
                pass
            return
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: loop.stop())
        looking.check_start()
        loop.run()
