"""manage.py import_facility FOLDER: take in the CSV files of a facility."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from facility import events
from facility.imports.folder import UnreadableError, gathered, read_folder
from facility.imports.report import UNREADABLE, Report
from facility.imports.take import Options, take
from facility.management.records_command import RecordsCommand
from facility.models import Site

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(RecordsCommand):
    help = (
        "Take in the CSV files of one facility: a folder or a zip. One refused row stops the whole import, unless "
        "--take-good-rows is given; the same files a second time change nothing. "
        "Ends with 0 (taken), 1 (rows refused) or 2 (cannot be read)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="folder with the CSV files, or a zip of them")
        parser.add_argument("--dry-run", action="store_true", help="say what would happen, store nothing")
        parser.add_argument(
            "--take-good-rows", action="store_true", help="take the good rows although others are refused"
        )
        parser.add_argument("--site", default="", help="key of the site, where the folder has no site.csv")
        parser.add_argument("--json", action="store_true", help="print the report as JSON")

    def handle(self, **options: Any) -> None:
        try:
            files = _files(options["folder"])
        except UnreadableError as error:
            report = Report(dry_run=options["dry_run"], unreadable=True, notes=[str(error)])
        else:
            chosen = Options(
                site=_site(options["site"], files),
                dry_run=options["dry_run"],
                take_good_rows=options["take_good_rows"],
                say=self.say,
            )
            report = take(files, chosen, by=events.system("import"))
        text = json.dumps(report.as_json(), ensure_ascii=False, indent=2) if options["json"] else report.as_text()
        self.stdout.write(text)
        if report.exit_code:
            sys.exit(report.exit_code)


def _files(path: Path) -> dict[str, bytes]:
    """Return the files of a folder or of a zip."""
    if path.is_file() and path.suffix.lower() == ".zip":
        return gathered([(path.name, path.read_bytes())])
    return read_folder(path)


def _site(key: str, files: dict[str, bytes]) -> Site | None:
    """Return the site that was named, or the only one there is."""
    sites: Any = Site.objects
    rows = sites.filter(retired_at=None).select_related("organisation")
    if key:
        site: Site | None = rows.filter(key=key).first()
        if site is None:
            known = ", ".join(rows.values_list("key", flat=True)) or "none yet"
            raise CommandError(f"--site {key}: there is no such site. Known: {known}.", returncode=UNREADABLE)
        return site
    stored = list(rows[:2])
    return stored[0] if len(stored) == 1 and "site.csv" not in files else None
