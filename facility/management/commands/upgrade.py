"""Bring an older installation's tables up to date: backup, steps, self-test."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility import __version__
from facility.accounts.invites import first_user_link
from facility.counted import counted
from facility.project import start, upgrade
from facility.triggers import TriggersError, ensure

if TYPE_CHECKING:
    from argparse import ArgumentParser

PENDING = 3


class Command(BaseCommand):
    help = "Back up, bring the tables up to date, test. With --check: only tell what would be done."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--check", action="store_true", help=f"only tell the steps; ends with code {PENDING} if there are any"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["check"]:
            self._check()
            return
        try:
            with start.one_at_a_time():
                done = upgrade.run(self._say)
                ensure()
                link = first_user_link()
        except (start.StartError, TriggersError) as error:
            raise CommandError(str(error)) from error
        self._tell(done)
        if link:
            self.stdout.write(f"Make the first account, once, on the address of this box: {link}")

    def _tell(self, done: upgrade.Upgraded | None) -> None:
        if done is None:
            self.stdout.write(f"The tables are those of version {__version__} already.")
            return
        if done.backup is not None:
            self.stdout.write(f"Backup made before it: {done.backup}")
        self.stdout.write(
            f"Upgraded to {__version__} in {counted(len(done.steps), 'step', 'steps')}; the records check,"
            f" and readiness was computed for {counted(done.plans, 'plan', 'plans')}"
            f" in {counted(done.chambers, 'chamber', 'chambers')}."
        )

    def _check(self) -> None:
        steps = upgrade.pending()
        if not steps:
            self.stdout.write(f"The tables are those of version {__version__} already.")
            return
        for step in steps:
            self.stdout.write(step)
        self.stdout.write(
            f"{counted(len(steps), 'step', 'steps')} to version {__version__}. `manage.py upgrade` makes a backup first, and so do `up` and `serve`."
        )
        sys.exit(PENDING)

    def _say(self, sentence: str) -> None:
        self.stderr.write(sentence, self.style.NOTICE)
        self.stderr.flush()
