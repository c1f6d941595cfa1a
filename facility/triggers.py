"""Triggers that let the event table take the next event and nothing else, on both databases.

The texts below are the only place where they are written. ``missing()`` compares them with
what the database's catalogue holds; ``ensure()`` puts back what is missing, differs or was
added, and records that it had to. Triggers stop accidents and hasty hands. Whoever owns the
database can drop them: what was done then is shown by the chain (``facility.record_check``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.db import DEFAULT_DB_ALIAS, DatabaseError, connection, connections, transaction

from facility.compute.chain import GENESIS, LABEL
from facility.events import Actor, What, record, system
from facility.models import Event

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper

TABLE: Final = "facility_event"
KEPT: Final = "An event is kept for ever: it is never changed or removed."
NEXT: Final = "An event is added only after the newest one: seq and prev must continue the chain."

#: SQLite keeps these texts word for word in its catalogue.
#: A row number below 1 is refused because ``NEW.rowid`` reads -1 before an insert that names none.
SQLITE: Final = {
    "event_no_update": f"BEFORE UPDATE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END",
    "event_no_delete": f"BEFORE DELETE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END",
    "event_only_next": f"""BEFORE INSERT ON {TABLE} BEGIN
  SELECT RAISE(ABORT, '{NEXT}')
  WHERE NEW.seq IS NOT (SELECT COALESCE(MAX(seq), 0) + 1 FROM {TABLE})
    OR NEW.prev IS NOT COALESCE((SELECT digest FROM {TABLE} ORDER BY seq DESC LIMIT 1), x'{GENESIS.hex()}')
    OR typeof(NEW.digest) <> 'blob' OR length(NEW.digest) <> 32 OR typeof(NEW.payload) <> 'text'
    OR EXISTS (SELECT 1 FROM {TABLE} WHERE rowid = NEW.rowid);
END""",  # noqa: S608  # no value comes from outside
    "event_row_number": f"""AFTER INSERT ON {TABLE} WHEN NEW.rowid < 1 BEGIN
  SELECT RAISE(ABORT, '{NEXT}');
END""",
}

#: body of each PostgreSQL function; %I.%I is the very table, so that no other of its name is asked
POSTGRES_BODIES: Final = {
    "facility_event_refuse": f"""
BEGIN
  RAISE EXCEPTION '{KEPT}' USING ERRCODE = 'restrict_violation';
END
""",
    "facility_event_only_next": f"""
DECLARE
  last_seq bigint;
  last_digest bytea;
BEGIN
  EXECUTE format('SELECT seq, digest FROM %I.%I ORDER BY seq DESC LIMIT 1', TG_TABLE_SCHEMA, TG_TABLE_NAME)
    INTO last_seq, last_digest;
  IF NEW.seq IS DISTINCT FROM COALESCE(last_seq, 0) + 1
     OR NEW.prev IS DISTINCT FROM COALESCE(last_digest, decode('{GENESIS.hex()}', 'hex')) THEN
    RAISE EXCEPTION '{NEXT}' USING ERRCODE = 'restrict_violation';
  END IF;
  IF NEW.digest IS DISTINCT FROM sha256(
       decode('{(LABEL + bytes(1)).hex()}', 'hex') || NEW.prev || convert_to(NEW.payload, 'UTF8')) THEN
    RAISE EXCEPTION 'The digest of event % does not belong to its text.', NEW.seq USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END
""",  # noqa: S608  # no value comes from outside
}
#: name: (kind as in the catalogue's tgtype, timing and events, level, function)
POSTGRES: Final = {
    "event_no_update": (19, "BEFORE UPDATE", "ROW", "facility_event_refuse"),
    "event_no_delete": (11, "BEFORE DELETE", "ROW", "facility_event_refuse"),
    "event_no_truncate": (34, "BEFORE TRUNCATE", "STATEMENT", "facility_event_refuse"),
    "event_only_next": (7, "BEFORE INSERT", "ROW", "facility_event_only_next"),
}
SEARCH_PATH: Final = "search_path=pg_catalog"

_POSTGRES_CATALOGUE: Final = f"""
SELECT t.tgname, t.tgtype, t.tgenabled = 'A' AND t.tgqual IS NULL AND t.tgattr = ''::int2vector AND t.tgnargs = 0,
       p.proname, p.prosrc, l.lanname, COALESCE(array_to_string(p.proconfig, ','), '')
FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid JOIN pg_language l ON l.oid = p.prolang
WHERE t.tgrelid = to_regclass('{TABLE}') AND NOT t.tgisinternal
UNION ALL
SELECT rulename, 0, false, 'rule', '', '', '' FROM pg_rewrite WHERE ev_class = to_regclass('{TABLE}')
"""  # noqa: S608  # no value comes from outside

Catalogue = dict[str, tuple[Any, ...]]


def _expected(link: BaseDatabaseWrapper) -> Catalogue:
    """Return what the catalogue must hold, by trigger name."""
    if link.vendor == "sqlite":
        return {name: (f"CREATE TRIGGER {name} {text}",) for name, text in SQLITE.items()}
    return {
        name: (kind, True, function, POSTGRES_BODIES[function], "plpgsql", SEARCH_PATH)
        for name, (kind, _when, _level, function) in POSTGRES.items()
    }


def _found(link: BaseDatabaseWrapper) -> Catalogue:
    """Return what the catalogue holds for the event table, by name."""
    query = f"SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = '{TABLE}'"  # noqa: S608
    with link.cursor() as cursor:
        cursor.execute(query if link.vendor == "sqlite" else _POSTGRES_CATALOGUE)
        return {row[0]: tuple(row[1:]) for row in cursor.fetchall()}


def missing(using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Return the names of triggers that are missing, differ from the expected text, or were added."""
    link = connections[using]
    expected, found = _expected(link), _found(link)
    return sorted(name for name in expected | found if expected.get(name) != found.get(name))


def create(link: BaseDatabaseWrapper) -> None:
    """Make every trigger anew and remove whatever else was hung on the event table."""
    drop(link)
    with link.cursor() as cursor:
        for statement in _sqlite_statements() if link.vendor == "sqlite" else _postgres_statements():
            cursor.execute(statement)


def _sqlite_statements() -> list[str]:
    return [f"CREATE TRIGGER {name} {text}" for name, text in SQLITE.items()]


def _postgres_statements() -> list[str]:
    functions = [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
        f" SET search_path = pg_catalog AS $body${body}$body$"
        for name, body in POSTGRES_BODIES.items()
    ]
    triggers = [
        f"CREATE TRIGGER {name} {when} ON {TABLE} FOR EACH {level} EXECUTE FUNCTION {function}()"
        for name, (_kind, when, level, function) in POSTGRES.items()
    ]
    always = [f"ALTER TABLE {TABLE} ENABLE ALWAYS TRIGGER {name}" for name in POSTGRES]
    return functions + triggers + always


def drop(link: BaseDatabaseWrapper | None = None) -> None:
    """Remove every trigger and rule of the event table. Only tests that empty the tables call this alone."""
    link = link or connections[DEFAULT_DB_ALIAS]
    found = _found(link)
    with link.cursor() as cursor:
        for name, state in found.items():
            quoted = link.ops.quote_name(name)
            if link.vendor == "sqlite":
                cursor.execute(f"DROP TRIGGER {quoted}")
            else:
                kind = "RULE" if state[2] == "rule" else "TRIGGER"
                cursor.execute(f"DROP {kind} {quoted} ON {TABLE}")


class TriggersError(RuntimeError):
    """The triggers of the event table are wrong and could not be put right."""


def ensure(*, by: Actor | None = None, using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Put the triggers right and return the names that were wrong.

    If any was wrong, ``security:triggers-restored`` is recorded by ``by`` (``system:start`` if left out).
    Errors: TriggersError if the database refuses, for example because its user does not own the table.
    """
    wrong = missing(using)
    if wrong:
        try:
            _restore(wrong, by or system("start"), using)
        except DatabaseError as error:
            raise TriggersError(
                f"The triggers of the event table are wrong ({', '.join(wrong)}) and could not be put right: {error}."
                " Run `manage.py up --no-serve` as the database user who owns the table."
            ) from error
    return wrong


def _restore(wrong: list[str], by: Actor, using: str) -> None:
    with transaction.atomic(using=using):
        create(connections[using])
        if using == connection.alias and _columns_fit(connections[using]):
            record(None, What("security:triggers-restored", after={"triggers": ", ".join(wrong)}), by=by)


def _columns_fit(link: BaseDatabaseWrapper) -> bool:
    """Return whether the table has the columns of today's model; halfway through migrations it has not."""
    with link.cursor() as cursor:
        stored = {column.name for column in link.introspection.get_table_description(cursor, TABLE)}
    return stored == {field.column for field in Event._meta.concrete_fields}


def after_migrate(*, using: str = DEFAULT_DB_ALIAS, **_signal: object) -> None:
    """Put the triggers right after migrations: SQLite loses them when a table is rebuilt.

    A log that holds nothing yet (a database just made or emptied for a test) gets no event.
    """
    link = connections[using]
    if TABLE not in link.introspection.table_names():
        return
    with link.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {TABLE} LIMIT 1")  # noqa: S608
        empty = cursor.fetchone() is None
    if not empty:
        ensure(by=system("migrate"), using=using)
    elif missing(using):
        with transaction.atomic(using=using):
            create(link)
