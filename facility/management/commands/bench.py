"""Measure this installation against its limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.project.bench import BENCHMARKS

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Measure this installation against its limits: a ratio of at most 1 is within."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("names", nargs="*", help=f"which ones; all when left out: {', '.join(BENCHMARKS)}")

    def handle(self, *args: Any, **options: Any) -> None:
        names = options["names"] or list(BENCHMARKS)
        unknown = [name for name in names if name not in BENCHMARKS]
        if unknown:
            raise CommandError(f"No benchmark is called {', '.join(unknown)}. There are: {', '.join(BENCHMARKS)}.")
        over = 0
        for name in names:
            found = BENCHMARKS[name]()
            over += not found.within
            word = "within" if found.within else "OVER"
            figures = f"{found.measured:.4g} of {found.limit:g} {found.unit}"
            self.stdout.write(
                f"{word:7} {found.ratio:5.2f}  {found.name}: {figures}" + (f" ({found.note})" if found.note else "")
            )
            self.stdout.flush()
        if over:
            raise CommandError(f"{over} of {len(names)} over the limit.")
