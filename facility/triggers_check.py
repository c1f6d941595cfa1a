"""System check: the triggers of the event table are as they must be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.recorder import MigrationRecorder

from facility import triggers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.apps import AppConfig

MIGRATION = ("facility", "0002_event_triggers")


@register(Tags.database)
def check_event_triggers(
    app_configs: Sequence[AppConfig] | None, *, databases: Sequence[str] | None = None, **_rest: object
) -> list[CheckMessage]:
    """Report triggers that are missing, altered or added, in the databases that were asked for.

    A database that has not had the migration yet is not at fault: it is about to get them.
    """
    if app_configs is not None and "facility" not in {config.label for config in app_configs}:
        return []
    return [
        Error(
            f"The event table lacks its triggers as they must be: {', '.join(wrong)}.",
            hint=(
                "`manage.py up --no-serve` puts them right and records it, and so does each start of the server. "
                "Then run `manage.py check_records`: what was written without them may be wrong."
            ),
            id="facility.E101",
        )
        for alias in databases or ()
        if alias == DEFAULT_DB_ALIAS and _migrated(alias) and (wrong := triggers.missing(alias))
    ]


def _migrated(alias: str) -> bool:
    return MIGRATION in MigrationRecorder(connections[alias]).applied_migrations()
