"""Filling a database from a backup: to the backup's migrations, rows in, compared, then forward."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.core.management import call_command
from django.core.management.color import no_style
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils.translation import gettext as _

from facility import __version__, record_check, triggers
from facility.backup import tables
from facility.backup.faults import BackupError
from facility.backup.making import head_of
from facility.counted import counted
from facility.models import User

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.apps.registry import Apps
    from django.db.models import Model

    from facility.backup.manifest import Manifest
    from facility.backup.opening import Archive

USING: Final = "default"
HISTORY: Final = "django_migrations"


def refuse_records() -> None:
    """Refuse a database that holds a user or an event. Each stored record has its event."""
    if connection.vendor == "sqlite" and not Path(connection.settings_dict["NAME"]).exists():
        return  # asking would make the file
    known = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in (triggers.TABLE, User._meta.db_table):
            if table not in known:
                continue
            cursor.execute(f"SELECT 1 FROM {table} LIMIT 1")  # noqa: S608 - our own names
            if cursor.fetchone():
                raise BackupError(
                    _(
                        "The database %(name)s holds records already, and a backup is put only into an empty one."
                        " Name an empty folder in DEEPSTEAD_DATA, or an empty database in DEEPSTEAD_DATABASE_URL."
                    )
                    % {"name": connection.settings_dict["NAME"]}
                )


def drop_empty_tables() -> None:
    """Remove the tables of an installation that holds no records yet, so that they are made as of the backup."""
    ours = {*connection.introspection.django_table_names(only_existing=True), HISTORY}
    there = sorted(ours & set(connection.introspection.table_names()))
    with connection.cursor() as cursor:
        for table in there:
            cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)} CASCADE")


def fill(archive: Archive, say: Callable[[str], object]) -> record_check.Verdict:
    """Put a backup into a database without tables, prove it equal, bring it up to date and check it.

    Errors: BackupError naming what differs.
    """
    told = archive.manifest
    apps = _migrate_to(told)
    models = {model._meta.label_lower: model for model in tables.ordered(apps)}
    if set(models) != set(told.tables):
        names = ", ".join(sorted(set(models) ^ set(told.tables)))
        raise BackupError(_("The backup and its migrations do not name the same tables: %(names)s.") % {"names": names})
    triggers.drop()
    _load(archive, [models[label] for label in told.tables], say)
    triggers.create(connection)
    _compare(told, apps, say)
    say(_("Bringing the tables up to date"))
    if _forward_plan():
        call_command("migrate", interactive=False, verbosity=0)
    return _verified(told, say)


def _migrate_to(told: Manifest) -> Apps:
    """Make the tables as they were when the backup was made."""
    executor = MigrationExecutor(connection)
    wanted = {(app, name) for app, name in told.migrations}
    graph = executor.loader.graph
    if unknown := sorted(wanted - set(graph.nodes)):
        raise BackupError(
            _(
                "The backup was made by version %(theirs)s, which is newer than this one (%(ours)s): it has the step"
                " %(step)s. Install version %(theirs)s or newer and restore with it."
            )
            % {"theirs": told.version, "ours": __version__, "step": ".".join(unknown[0])}
        )
    newest = [
        node
        for node in wanted
        if not any(child.key in wanted and child.key[0] == node[0] for child in graph.node_map[node].children)
    ]
    executor.migrate(sorted(newest))
    return tables.apps_at(wanted)


def _load(archive: Archive, models: list[type[Model]], say: Callable[[str], object]) -> None:
    try:
        with transaction.atomic():
            for model in reversed(models):
                model._base_manager.using(USING).all()._raw_delete(USING)
            for number, model in enumerate(models, 1):
                label = model._meta.label_lower
                say(_("Table %(number)d of %(all)d: %(table)s") % {
                    "number": number, "all": len(models), "table": label,
                })  # fmt: skip
                tables.load(model, archive.lines(label), USING)
            connection.check_constraints()
    except IntegrityError as error:
        raise BackupError(_("The rows of the backup do not fit together: %(error)s") % {"error": error}) from error
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def _compare(told: Manifest, apps: Apps, say: Callable[[str], object]) -> None:
    """Read back what was put in, and compare rows, contents, count and head with the manifest."""
    say(_("Comparing with the manifest"))
    wrong: list[str] = []
    for model in tables.ordered(apps):
        label = model._meta.label_lower
        found = tables.counted(tables.lines(model, USING))
        if found.rows != told.counts[label]:
            wrong.append(_("%(table)s has %(found)s, the manifest says %(told)d") % {
                "table": label, "found": counted(found.rows, "row", "rows"), "told": told.counts[label],
            })  # fmt: skip
        elif found.sha256 != told.sha256[f"tables/{label}.jsonl"]:
            wrong.append(_("the contents of %(table)s differ") % {"table": label})
    count, head = head_of(apps, USING)
    if (count, head) != (told.events, told.head):
        wrong.append(_("the log has %(count)s and head %(head)s, the manifest says %(events)d and %(told)s") % {
            "count": counted(count, "event", "events"), "head": head, "events": told.events, "told": told.head,
        })  # fmt: skip
    if wrong:
        raise BackupError(_("What was put back is not what was backed up: %(what)s.") % {"what": "; ".join(wrong)})


def _forward_plan() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _verified(told: Manifest, say: Callable[[str], object]) -> record_check.Verdict:
    """Check the records; faults that the backup names itself do not stop it, any other does."""
    say(_("Checking the records"))
    noted = None if told.faults else (told.events, told.head)
    verdict = record_check.verify(at_least=noted)
    if new := [fault for fault in (*record_check.file_check(), *verdict.faults) if fault not in told.faults]:
        raise BackupError(_("The record check found: %(what)s") % {"what": " ".join(new)})
    return verdict
