"""Make a certificate for HTTPS in a network without internet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from facility import events
from facility.project import lan

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Make a server certificate for NAMEs, signed by an authority of the house that is made once."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="+", help="what browsers type: chamber.lan, 192.168.1.5")
        parser.add_argument("--to", type=Path, metavar="FOLDER", help="default: lan in the data folder")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = (options["to"] or settings.DATA_DIR / lan.FOLDER).resolve()
        try:
            made = lan.issue(options["name"], folder, now=events.now())
        except (lan.LanError, OSError) as error:
            raise CommandError(str(error)) from error
        if made.new_authority:
            self.stdout.write("A new authority was made. Each device must be told once to trust it:")
        else:
            self.stdout.write("Signed by the authority that devices know already:")
        self.stdout.write(f"  file         {folder / lan.AUTHORITY}")
        self.stdout.write(f"  fingerprint  {made.fingerprint}")
        self.stdout.write("Compare the fingerprint on the device with this one before trusting it.")
        self.stdout.write(
            f"Whoever has {lan.AUTHORITY_KEY} can pose as any address to these devices: keep it on a stick in the safe."
        )
        self.stdout.write(f"For the reverse proxy: {folder / lan.SERVER} and {folder / lan.SERVER_KEY}")
        self.stdout.write(f"Good until {made.good_until:%Y-%m-%d}. Run this command again before; checks remind you.")
