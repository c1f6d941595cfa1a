"""``manage.py calc``: run one worksheet, JSON in and JSON out."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from facility.compute.worksheet import InputError, Worksheet
from facility.compute.worksheet_reading import load_inputs, run
from facility.worksheets.catalogue import worksheets

REFUSED = 2


class Command(BaseCommand):
    """One computation by itself: no database, nothing stored."""

    help = "Run one worksheet: JSON in (a file or standard input), JSON out. See --list."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("name", nargs="?", help="name of the worksheet, see --list")
        parser.add_argument("file", nargs="?", default="-", help="JSON file of inputs; - or nothing: standard input")
        parser.add_argument("--list", action="store_true", help="list the worksheets")
        parser.add_argument("--json", action="store_true", help="with --list: as JSON, with inputs and outputs")
        parser.add_argument("--example", action="store_true", help="print the worksheet's own example as JSON")

    def handle(self, **options: Any) -> None:
        """Choose what is asked for; bad input ends with code 2 and a sentence."""
        try:
            self._choose(options)
        except ValueError as error:
            raise CommandError(str(error), returncode=REFUSED) from error

    def _choose(self, options: dict[str, Any]) -> None:
        if options["list"]:
            self._list(as_json=options["json"])
            return
        known = worksheets()
        worksheet = known.get(options["name"] or "")
        if worksheet is None:
            raise InputError("name", options["name"], "one of " + ", ".join(known))
        if options["example"]:
            self._print(worksheet.examples)
            return
        self._print(run(worksheet, load_inputs(_read(options["file"]))))
        self.stderr.write(_(worksheet.caution), str)

    def _list(self, *, as_json: bool) -> None:
        if as_json:
            self._print([described(one) for one in worksheets().values()])
            return
        for one in worksheets().values():
            self.stdout.write(f"{one.name}: {_(one.title)}")

    def _print(self, value: Any) -> None:
        self.stdout.write(json.dumps(value, indent=2, ensure_ascii=False))


def described(worksheet: Worksheet) -> dict[str, Any]:
    """Return what a caller needs to know of one worksheet."""
    return {
        "name": worksheet.name,
        "title": _(worksheet.title),
        "inputs": [
            {
                "name": one.name,
                "unit": one.unit,
                "example": one.example,
                "allowed": one.allowed,
                "about": _(one.about) if one.about else "",
            }
            for one in worksheet.inputs
        ],
        "outputs": [
            {"name": one.name, "unit": one.unit, "about": _(one.about) if one.about else ""}
            for one in worksheet.outputs
        ],
        "formula": _(worksheet.formula),
        "source": worksheet.source,
        "standing": worksheet.standing,
        "caution": _(worksheet.caution),
    }


def _read(name: str) -> str:
    """Read a file, or standard input where the name is a dash."""
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise InputError("file", name, "UTF-8 text") from None
    except OSError as error:
        raise InputError("file", name, f"a file that can be read ({error.strerror})") from None
