"""Verify the event log and print what was found; the last line is worth noting outside."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from facility.compute.note import NoteError
from facility.record_check import file_check, verify
from facility.trust import checkpoints, looking

if TYPE_CHECKING:
    from argparse import ArgumentParser

HEAD = re.compile(r"[0-9a-f]{64}", re.IGNORECASE)


class Command(BaseCommand):
    help = "Verify that no event was changed, left out or put in. Ends with 1 if a fault was found."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--at-least",
            nargs=2,
            metavar=("COUNT", "HEAD"),
            help="number of events and head noted earlier, as on the last line: finds an end that was cut off",
        )
        parser.add_argument(
            "--checkpoint",
            metavar="FILE",
            nargs="+",
            type=Path,
            help="signed heads that were kept outside the server, as mailed or from a pack: the log must continue each",
        )

    def handle(self, **options: Any) -> None:
        verdict = verify(at_least=_noted(options["at_least"]))
        faults = (*file_check(), *verdict.faults, *_against(options["checkpoint"] or []))
        for fault in faults:
            self.stdout.write(f"FAULT: {fault}")
        if not faults:
            self.stdout.write("Nothing wrong was found.")
        self.stdout.write(f"events {verdict.count}, head {verdict.head_hex}")
        if faults:
            self.stdout.flush()
            sys.exit(1)


def _noted(words: list[str] | None) -> tuple[int, str] | None:
    if words is None:
        return None
    count, head = words
    if not count.isdecimal() or not HEAD.fullmatch(head):
        raise CommandError(
            f"--at-least {count} {head}: give a whole number and 64 hex digits, as on the last line of check_records."
        )
    return int(count), head


def _against(files: list[Path]) -> list[str]:
    """Return how the log contradicts the heads in these files."""
    texts = []
    for path in files:
        try:
            text = path.read_text(encoding="utf-8")
            checkpoints.signer(text)
        except (OSError, UnicodeDecodeError, NoteError) as error:
            raise CommandError(
                f"--checkpoint {path}: {error} Give the file checkpoint-NUMBER.note as it came."
            ) from error
        texts.append(text)
    return looking.compare(texts)
