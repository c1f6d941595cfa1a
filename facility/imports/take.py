"""Taking files in: one transaction, row by row through the services, with a report.

By default one refused row stops the whole import. The same files a second time change nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.imports.kinds import BY_FILE, KINDS
from facility.imports.missing import missing_for_an_answer
from facility.imports.report import Problem, Report
from facility.imports.rows import ownerless_lines, take_file
from facility.imports.store import Store
from facility.imports.tables import read_tables
from facility.models import Site

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from facility.access import Act
    from facility.events import Actor
    from facility.imports.tables import Tables

SITE = "site.csv"


@dataclass(frozen=True, slots=True)
class Options:
    """How to take files in. ``acts`` None: everything may be taken (the command line). ``say`` hears how far it is."""

    site: Site | None = None
    acts: frozenset[Act] | None = None
    dry_run: bool = False
    take_good_rows: bool = False
    shift: timedelta = timedelta(0)
    say: Callable[[str], object] = str


def take(files: Mapping[str, bytes], options: Options, *, by: Actor) -> Report:
    """Take the files in, or say what would happen, and return the report.

    ``files``: content by name. Whatever is refused stands in the report; nothing is raised for it.
    """
    report = Report(dry_run=options.dry_run)
    tables = read_tables(files, report)
    if report.unreadable:
        return report
    with transaction.atomic():
        store = Store(BY_FILE, site=_site(tables, options), by=by)
        store.say = options.say
        _take_all(tables, options, store, report)
        report.taken = not options.dry_run and (not report.problems or options.take_good_rows)
        if not report.taken:
            transaction.set_rollback(True)
    return report


def _site(tables: Tables, options: Options) -> Site | None:
    """Return the site the files go to: the one given, or the one that site.csv names."""
    if options.site is not None:
        return options.site
    table = tables.by_file.get(SITE)
    keys = [cells["key"] for _line, cells in table.rows] if table else []
    rows: Any = Site.objects.filter(key__in=keys[:1])
    found: Site | None = rows.select_related("organisation").first()
    return found


def _take_all(tables: Tables, options: Options, store: Store, report: Report) -> None:
    for kind in KINDS:
        table = tables.by_file.get(kind.file)
        if table is None:
            continue
        if options.acts is not None and kind.act not in options.acts:
            advice = _("Take the file out, or ask somebody who may.")
            what = _("your roles at this site do not allow this: %(act)s") % {"act": kind.act}
            report.problems.append(Problem(kind.file, 1, "", "", what, "", advice))
            report.count(kind.file).refused += len(table.rows)
            continue
        options.say(f"{kind.file}: {counted(len(table.rows), 'line', 'lines')}")
        take_file(kind, table, (store, tables.formats.of(kind.file), options.shift), report)
        if store.site is None:
            advice = _("Put site.csv with its one line into the folder, or correct it; or name the site.")
            report.problems.append(
                Problem(SITE, 1, "", "", _("there is no site that these files could go to"), "", advice)
            )
            return
    report.problems += ownerless_lines(store, set(tables.by_file))
    if store.site is not None:
        report.missing = missing_for_an_answer(store.site)
