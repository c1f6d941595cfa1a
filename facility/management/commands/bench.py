"""Measure this installation against its limits."""

from __future__ import annotations

import subprocess
import sys
from itertools import groupby
from typing import TYPE_CHECKING, Any

from django.conf import settings
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
        groups = [list(group) for _of, group in groupby(names, key=lambda name: BENCHMARKS[name].__module__)]
        if len(groups) > 1:
            _each_in_a_process_of_its_own(groups)
        else:
            self._measure(names)

    def _measure(self, names: list[str]) -> None:
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


def _each_in_a_process_of_its_own(groups: list[list[str]]) -> None:
    """Measure those that share what they measure together, and others apart: memory that one held would hide another's."""
    line = [sys.executable, str(settings.BASE_DIR / "manage.py"), "bench"]
    over = [", ".join(names) for names in groups if subprocess.run([*line, *names], check=False).returncode]
    if over:
        raise CommandError(f"Over the limit, or not measured to the end, among: {'; '.join(over)}.")
