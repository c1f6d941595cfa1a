"""manage.py csv_templates FOLDER: the empty CSV files of a facility, with their guide."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.imports.templates import guide_text, templates

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Write the empty CSV files and guide.txt into a folder. Files that are there are never overwritten."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="folder to write into; made if it is not there")

    def handle(self, **options: Any) -> None:
        folder: Path = options["folder"]
        files = {**templates(), "guide.txt": guide_text()}
        there = [name for name in files if (folder / name).exists()]
        if there:
            raise CommandError(f"{folder} already holds {', '.join(sorted(there))}. Choose an empty folder.")
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        self.stdout.write(f"{len(files)} files in {folder}. Fill in what you have; only site.csv is needed at first.")
