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
        growth = worn.Growth()
        loop = (Dispatcher if BROKER_URL else Loop)(DAILY, worn=growth.is_much)
        if options["once"]:
            while loop.turn():
                pass
            return
        told_to_end = threading.Event()

        def end(*_: object) -> None:
            told_to_end.set()
            loop.stop()

        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, end)
        looking.check_start()
        pulse.start(loop.stopped)
        if loop.run() and not told_to_end.is_set():
            connection.close()
            worn.begin_anew()
