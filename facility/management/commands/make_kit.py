"""Make the kit that installs this program where there is no network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.project import kit

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Fill a folder with program, packages, checksums and install.sh, for a machine without a network."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="an empty or new folder")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = kit.make(options["out"].resolve(), self.stdout.write)
        except (kit.KitError, OSError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made.wheels} wheels, {made.size / 1e6:.0f} MB. On the other machine: sh install.sh")
        self.stdout.write(str(made.folder))
