"""Check that every number in the reference files has unit, source, place and standing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from facility.compute.reference import Standing, UnsourcedError
from facility.reference import load, sources
from maintenance.reference import DOCUMENTS

BIBLIOGRAPHY = "sources.toml"


def reference_files(base: Path) -> list[Path]:
    """Return the files of sourced values of all apps, without the bibliography and whole documents."""
    files = [
        path
        for app in ("facility", "maintenance", "treatments")
        for pattern in ("*.toml", "tables/*.toml")
        for path in (base / app / "reference").glob(pattern)
    ]
    return sorted(path for path in files if path.name not in (BIBLIOGRAPHY, *DOCUMENTS))


class Command(BaseCommand):
    """Fails on any number that nobody could check."""

    help = "Check the reference files: each number with unit, meaning, source, place and standing."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line a file; exit 1 naming the first fault."""
        self._documents(settings.BASE_DIR / "maintenance" / "reference")
        total = 0
        for path in reference_files(settings.BASE_DIR):
            try:
                entries = load(path)
            except UnsourcedError as fault:
                raise CommandError(f"{path.name}: {fault}") from None
            total += len(entries)
            memory = sum(1 for entry in entries.values() if entry.standing is Standing.MEMORY)
            self.stdout.write(f"{path.name}: {len(entries)} values, {memory} from memory")
        self.stdout.write(f"values {total}")

    def _documents(self, folder: Path) -> None:
        """Check the files that are read as a whole, each by its own reader."""
        for name, parse in DOCUMENTS.items():
            try:
                entries = parse((folder / name).read_text(encoding="utf-8"), sources())
            except UnsourcedError as fault:
                raise CommandError(f"{name}: {fault}") from None
            self.stdout.write(f"{name}: {len(entries)} entries")
