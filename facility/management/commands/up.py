"""Set up what is missing, tell the address, and serve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from facility.accounts.demo import DEMO_PASSWORD, demo_sign_ins
from facility.accounts.invites import first_user_link
from facility.project import start, upgrade
from facility.project.env import EnvError
from facility.triggers import TriggersError, ensure

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Set up what is missing, tell the address, and serve. Nothing is asked; it can be repeated at will."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--demo", action="store_true", help="invented records in a folder of their own")
        parser.add_argument("--no-serve", action="store_true", help="set up everything, but do not serve")
        parser.add_argument("--host", default=start.DEFAULT_HOST, help="default: every address of this machine")
        parser.add_argument("--port", type=int, help="default: DEEPSTEAD_PORT, or 8000")

    def handle(self, *args: Any, **options: Any) -> None:
        host = options["host"]
        try:
            port = options["port"] or start.default_port()
            if not options["no_serve"]:
                start.check_port(host, port)
            with start.one_at_a_time():
                upgrade.run(self._say)
                ensure()
                if options["demo"]:
                    self._load_demo()
                link = first_user_link()
            self._tell(host, port, link=link, serves=not options["no_serve"])
        except (start.StartError, EnvError, TriggersError) as error:
            raise CommandError(str(error)) from error
        if not options["no_serve"]:
            start.serve(host, port)

    def _load_demo(self) -> None:
        if start.lacks_demo():
            self.stdout.write("Loading an invented facility with two years of records ...")
            self.stdout.flush()
            start.load_demo()

    def _tell(self, host: str, port: int, *, link: str | None, serves: bool) -> None:
        here, *network = start.addresses(host, port)
        self.stdout.write(
            f"Records are in {settings.DATA_DIR}" + (" (invented demo records)." if settings.DEMO else ".")
        )
        if serves:
            self.stdout.write(f"Deepstead answers at {here}/ on this machine.")
            for address in network:
                self.stdout.write(f"In the local network: {address}/ (--host 127.0.0.1 keeps it to this machine).")
        if link:
            self.stdout.write(f"Make the first account, once, at: {here}{link}")
        if settings.DEMO:
            names = ", ".join(account.username for account in demo_sign_ins())
            self.stdout.write(f"Sign in as one of {names}; the password of all is: {DEMO_PASSWORD}")
        if serves:
            self.stdout.write("Ctrl-C stops it.")
        self.stdout.flush()

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
