"""Make one backup while the app runs; the last line is its path."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import segno
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from facility import events
from facility.backup import keys, making, store
from facility.backup.faults import BackupError
from facility.counted import counted

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Make one sealed backup file while the app runs. Prints its path last."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, metavar="FOLDER", help="default: backups in the data folder")
        parser.add_argument(
            "--key", type=Path, metavar="FILE", help="24 words or 64 hex digits; default: the data folder's"
        )
        parser.add_argument("--show-key", action="store_true", help="print the key as words and QR code, for the safe")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            key = keys.from_file(options["key"]) if options["key"] else keys.made_in(settings.DATA_DIR)
            if options["show_key"]:
                self._show(key)
                return
            folder = (options["to"] or store.folder()).resolve()
            made = making.make(folder, key, by=events.system("backup"), say=self._say)
        except BackupError as error:
            raise CommandError(str(error)) from error
        self._tell(key, made)

    def _tell(self, key: keys.Key, made: making.Made) -> None:
        told = made.manifest
        for fault in told.faults:
            self.stderr.write(f"The record check found: {fault}")
        for digest in told.missing:
            self.stderr.write(f"The evidence file {digest} is missing or damaged and is not in the backup.")
        self.stdout.write(
            f"{counted(sum(told.counts.values()), 'row', 'rows')} in {len(told.counts)} tables, sealed with key {key.number.hex()}."
        )
        self.stdout.write(
            "Without that key nobody can read the file: print it with backup --show-key and keep it elsewhere."
        )
        self.stdout.write(f"events {told.events}, head {told.head}")
        self.stdout.write(str(made.path))

    def _show(self, key: keys.Key) -> None:
        words = key.words.split()
        self.stdout.write(f"Key {key.number.hex()} of the backups. Who has it and a backup reads everything.")
        for start in range(0, len(words), 6):
            numbered = (f"{place:2} {word:10}" for place, word in enumerate(words[start : start + 6], start + 1))
            self.stdout.write(" ".join(numbered).rstrip())
        code = io.StringIO()
        segno.make(key.words, micro=False).terminal(code, compact=True)
        self.stdout.write(code.getvalue())

    def _say(self, sentence: str) -> None:
        if sys.stderr.isatty():
            self.stderr.write(sentence, self.style.NOTICE)
