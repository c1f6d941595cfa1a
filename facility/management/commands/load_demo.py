"""manage.py load_demo: an invented facility with two years of records, as of today."""

from __future__ import annotations

import time
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from facility.accounts.demo import DEMO_PASSWORD
from facility.counted import counted
from facility.demo.errors import DemoError
from facility.demo.loading import load, zone_of_set
from facility.management.records_command import RecordsCommand

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(RecordsCommand):
    help = (
        "Store the demo: an invented facility, its records moved so that they end on the evening before the day of "
        "loading. A second call does nothing. Refused where other records are stored."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--at", type=date.fromisoformat, default=None, metavar="YYYY-MM-DD",
            help="take this day as the day of loading (for tests); otherwise today at the demo's site",
        )  # fmt: skip

    def handle(self, **options: Any) -> None:
        began = time.monotonic()
        day = options["at"] or datetime.now(zone_of_set()).date()
        try:
            loaded = load(day)
        except DemoError as error:
            raise CommandError(str(error)) from None
        if loaded.report is None:
            self.stdout.write(f"{loaded.site.name} is there already; nothing was changed.")
            return
        rows = sum(count.added for count in loaded.report.counts.values())
        self.stdout.write(loaded.report.as_text())
        self.stdout.write(
            f"\n{loaded.site.name}, as of {day}: {counted(rows, 'row', 'rows')} and {counted(len(loaded.accounts), 'account', 'accounts')}"
            f" in {time.monotonic() - began:.0f} s."
        )
        self.stdout.write(f"Accounts: {', '.join(loaded.accounts)}. Password of all: {DEMO_PASSWORD}")
