"""Newer tables for older records: what is lacking, and bringing an installation up to date before it serves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from facility import triggers
from facility.counted import counted
from facility.models import User
from facility.project.start import StartError, refuse_running

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Upgraded:
    """What an upgrade did: the steps, the backup made before them, and what the self-test answered."""

    steps: tuple[str, ...]
    backup: Path | None
    chambers: int
    plans: int


def pending() -> list[str]:
    """Return the steps that the database lacks, as app.name."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{step.app_label}.{step.name}" for step, _backwards in plan]


def holds_records() -> bool:
    """Return whether the database holds a user or an event. Each stored record has its event."""
    known = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in {triggers.TABLE, User._meta.db_table} & known:
            cursor.execute(f"SELECT 1 FROM {table} LIMIT 1")  # noqa: S608 - our own names
            if cursor.fetchone():
                return True
    return False


def run(say: Callable[[str], object]) -> Upgraded | None:
    """Bring the tables up to date if they are not. The caller holds the start lock.

    An empty database is only migrated. Errors: StartError that names the backup and the way back.
    """
    steps = tuple(pending())
    if not steps:
        return None
    if not holds_records():
        call_command("migrate", interactive=False, verbosity=0)
        return Upgraded(steps, None, 0, 0)
    refuse_running()
    from facility.project import upgrading  # noqa: PLC0415  # half a second that a start without news does not need

    backup = upgrading.backup(say)
    try:
        say(f"Bringing the tables up to date: {counted(len(steps), 'step', 'steps')}.")
        call_command("migrate", interactive=False, verbosity=0)
        triggers.ensure()
        chambers, plans = upgrading.self_test(say)
        upgrading.note(steps, backup)
    except Exception as error:  # whatever it was, the way back is told
        raise StartError(upgrading.way_back(error, backup)) from error
    return Upgraded(steps, backup, chambers, plans)
