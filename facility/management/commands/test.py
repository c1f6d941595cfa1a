"""Run every check of the code: format, lint, types, floors, migrations, tests."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand

from facility.project import checkup

if TYPE_CHECKING:
    from argparse import ArgumentParser

OWN = ("--fast", "--long")


class Command(BaseCommand):
    help = (
        "Run every check of the code. Other arguments go to pytest, which then runs alone: test tests/project -k jobs"
    )
    requires_system_checks = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Keep what is meant for pytest, in its order, out of Django's own options."""
        given = argv[2:]
        if {"-h", "--help"} & set(given):
            super().run_from_argv(argv)
            return
        extra = [word for word in given if word not in OWN]
        sys.exit(checkup.main(fast="--fast" in given, long="--long" in given, extra=extra))

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fast", action="store_true", help="without the browser and PostgreSQL")
        parser.add_argument("--long", action="store_true", help="with the tests that take minutes")
        parser.add_argument("pytest", nargs="*", help="paths and options for pytest")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the list when it is called from other code."""
        sys.exit(checkup.main(fast=options["fast"], long=options["long"], extra=options["pytest"]))
