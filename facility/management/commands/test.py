"""Run every check of the code: format, lint, types, floors, migrations, tests."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand

from facility.project import checkup

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Run every check of the code. Arguments that are not its own go to pytest, which then runs alone."
    requires_system_checks = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Keep what pytest understands out of Django's own options."""
        parser = self.create_parser(argv[0], argv[1])
        options, extra = parser.parse_known_args(argv[2:])
        sys.exit(checkup.main(fast=options.fast, long=options.long, extra=[*options.paths, *extra]))

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fast", action="store_true", help="without the browser and PostgreSQL")
        parser.add_argument("--long", action="store_true", help="with the tests that take minutes")
        parser.add_argument("paths", nargs="*", help="what pytest alone is to run")

    def handle(self, *args: Any, **options: Any) -> None:
        """Nothing calls this: run_from_argv() does the work."""
        raise NotImplementedError
