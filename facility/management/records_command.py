"""A command that needs the records: without them it says so in one sentence."""

from __future__ import annotations

import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from facility.counted import counted

UNREADABLE = 2


class RecordsCommand(BaseCommand):
    """Refuses to run on a data folder that nobody has set up yet, or that an older version has made."""

    loud = False

    def rests_on_records(self, options: dict[str, Any]) -> bool:
        """Return whether this run reads or writes the records."""
        return True

    def execute(self, *args: Any, **options: Any) -> Any:
        if self.rests_on_records(options):
            self._need_records()
        self.loud = options.get("verbosity", 1) > 1
        return super().execute(*args, **options)

    def say(self, sentence: str) -> None:
        """Tell how far it is: on a terminal, or anywhere with --verbosity 2."""
        if self.loud or sys.stderr.isatty():
            self.stderr.write(sentence, self.style.NOTICE)

    @staticmethod
    def _need_records() -> None:
        """Errors: CommandError if the tables are missing or of another version."""
        executor = MigrationExecutor(connection)
        steps = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        if steps:
            raise CommandError(
                f"The data folder {settings.DATA_DIR} is not set up for this version yet (still to do: {counted(steps, 'step', 'steps')}). "
                "Run 'python3 manage.py up --no-serve' first, or name the right folder in DEEPSTEAD_DATA.",
                returncode=UNREADABLE,
            )
