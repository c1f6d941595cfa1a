"""Run due jobs until stopped; with a broker, send them to the workers instead."""

from __future__ import annotations

import signal
import threading
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand
from django.db import connection

from facility.health import pulse
from facility.jobs import worn
from facility.jobs.dispatch import Dispatcher
from facility.jobs.loop import Loop
from facility.jobs.queue import Lane
from facility.management.long_jobs import LongJobs
from facility.project.celery import BROKER_URL, app
from facility.project.schedule import DAILY
from facility.project.supervisor import end_with_parent
from facility.trust import looking

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Run due jobs until stopped by Ctrl-C or SIGTERM. What may take minutes runs in a second process."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="run (or send) what is due now, then end")
        parser.add_argument("--lane", choices=[Lane.LONG], help="only what may take minutes, and end when none is due")

    def handle(self, *args: Any, **options: Any) -> None:
        app.set_current()
        if options["lane"]:
            end_with_parent()
            self._until_told(Loop([], lane=Lane.LONG, enough=lambda: True))
        elif options["once"]:
            loop = Dispatcher(DAILY) if BROKER_URL else Loop(DAILY)
            while loop.turn():
                pass
        else:
            looking.check_start()
            self._serve()

    def _serve(self) -> None:
        """Work until told to end; a process that has grown begins anew when nothing is due."""
        growth, aside = worn.Growth(), LongJobs()

        def enough() -> bool:
            if not BROKER_URL:
                aside.look()
            return growth.is_much() and not aside.is_running()

        grown = self._until_told(
            Dispatcher(DAILY, enough=enough) if BROKER_URL else Loop(DAILY, lane=Lane.QUICK, enough=enough)
        )
        if grown:
            connection.close()
            worn.begin_anew()
        aside.stop()

    @staticmethod
    def _until_told(loop: Loop) -> bool:
        """Return whether the loop ended by itself."""
        told = threading.Event()

        def end(*_: object) -> None:
            told.set()
            loop.stop()

        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)
        if loop.lane is not Lane.LONG:
            pulse.start(loop.stopped)
        return loop.run() and not told.is_set()
