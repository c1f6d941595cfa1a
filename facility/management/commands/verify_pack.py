"""Verify a pack: 0 every statement holds, 1 something is wrong, 2 something could not be checked."""

from __future__ import annotations

import sys
from argparse import ArgumentTypeError
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.pack import checking, wording

if TYPE_CHECKING:
    from argparse import ArgumentParser


def fingerprint(text: str) -> str:
    """Return a fingerprint without gaps. Errors: ArgumentTypeError for what is none."""
    try:
        return checking.fingerprint_of(text)
    except ValueError as error:
        raise ArgumentTypeError(str(error)) from error


class Command(BaseCommand):
    help = (
        "Verify a pack, a zip or an unpacked folder. Ends with 0, 1 (something is wrong) or 2 (could not be checked)."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the zip, or the folder that it was unpacked to")
        parser.add_argument(
            "--older",
            type=Path,
            metavar="FILE",
            help="an older pack, or a signed head by itself, that this one should continue",
        )

        parser.add_argument(
            "--key", type=fingerprint, default="", metavar="FINGERPRINT",
            help="fingerprint on the wall sheet: the key that must have signed, or passed on to the one that did",
        )  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            outcome = checking.check(options["file"], options["older"], pin=options["key"])
        except OSError as error:
            raise CommandError(str(error), returncode=checking.NOT_CHECKED) from error
        if outcome.refused:
            self.stdout.write(f"Not opened: {outcome.refused}")
        for line in wording.lines(outcome):
            self.stdout.write(f"{line.said}: {line.title}")
            for member, words in line.problems:
                self.stdout.write(f"  {member}: {words}")
        self.stdout.write(f"key that signed: {outcome.fingerprint or 'none that could be found'}")
        self.stdout.write("Not proved:")
        for words in wording.not_proved():
            self.stdout.write(f"  {words}")
        if outcome.code:
            sys.exit(outcome.code)
