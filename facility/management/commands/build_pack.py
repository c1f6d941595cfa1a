"""Build a pack; the last line is its path."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError

from facility import events
from facility.counted import counted
from facility.management.records_command import RecordsCommand
from facility.models import Pack, Site
from facility.pack import building, released, services

if TYPE_CHECKING:
    from argparse import ArgumentParser

BY = events.system("build_pack")
NOT_NAMED = "not named by who built it"


class Command(RecordsCommand):
    help = "Build a pack of a site's records for an inspector. Prints the path of the zip last."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("site", help="key of the site, as in its addresses")
        parser.add_argument("--from", dest="from_day", required=True, metavar="YYYY-MM-DD")
        parser.add_argument("--to", dest="to_day", required=True, metavar="YYYY-MM-DD")
        parser.add_argument("--scope", default="whole", help="whole, area:KEY, chamber:KEY or code:KEY")
        parser.add_argument("--recipient", default=NOT_NAMED, help="who receives it; left out, the pack says so")
        parser.add_argument(
            "--ground", default=NOT_NAMED, help="on what legal ground it is handed over; left out, the pack says so"
        )
        parser.add_argument("--paper", default="A4", choices=services.PAPERS)
        parser.add_argument(
            "--release", action="append", default=[], metavar="'TABLE NUMBER FIELD REASON'",
            help="a text or picture that leaves with this pack; may be given more than once",
        )  # fmt: skip
        parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="where the zip is put")

    def handle(self, *args: Any, **options: Any) -> None:
        site = Site.objects.filter(key=options["site"], retired_at=None).first()
        if site is None:
            known = ", ".join(Site.objects.filter(retired_at=None).order_by("key").values_list("key", flat=True))
            raise CommandError(f"There is no site “{options['site']}”. There are: {known or 'none'}.")
        out = options["out"].resolve()
        if out.exists() and not out.is_dir():
            raise CommandError(f"{out} is no folder. Name one with --out.")
        pack = Pack(
            site=site, from_day=self._day(options["from_day"]), to_day=self._day(options["to_day"]),
            scope=options["scope"], recipient=options["recipient"], ground=options["ground"], paper=options["paper"],
        )  # fmt: skip
        try:
            releases = released.parsed("\n".join(options["release"]))
            services.ask(pack, releases, by=BY, queue=False)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self._hand_over(services.build(pack.pk, by=BY, say=self.say), out)

    def _hand_over(self, pack: Pack, out: Path) -> None:
        made = building.path_of(pack)
        out.mkdir(parents=True, exist_ok=True)
        target = out / made.name
        shutil.copyfile(made, target)
        self.stdout.write(f"pack {pack.number}, {pack.size_bytes} bytes, SHA-256 {pack.sha256}")
        self.stdout.write(f"rests on a log of {counted(pack.log_size or 0, 'event', 'events')}")
        self.stdout.write(str(target))

    @staticmethod
    def _day(text: str) -> date:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CommandError(f"“{text}” is no day. Write it as YYYY-MM-DD, such as 2026-03-12.") from None
