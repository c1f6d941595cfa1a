"""Serve what is set up already: web server and job runner under one supervisor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.project import start, upgrade
from facility.project.env import EnvError
from facility.triggers import TriggersError

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Serve what is set up already: web server and job runner under one supervisor."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=start.DEFAULT_HOST, help="default: every address of this machine")
        parser.add_argument("--port", type=int, help="default: DEEPSTEAD_PORT, or 8000")
        parser.add_argument(
            "--only-web", action="store_true", help="without the job runner, where a service manager watches over both"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            port = options["port"] or start.default_port()
            start.check_port(options["host"], port)
            with start.one_at_a_time():
                upgrade.run(self.stdout.write)
            start.serve(options["host"], port, only_web=options["only_web"])
        except (start.StartError, EnvError, TriggersError) as error:
            raise CommandError(str(error)) from error
