"""How each file of a folder writes its days and numbers: what files.csv states. Nothing is guessed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import available_timezones

from django.utils.translation import gettext as _

from facility.compute.csv_reading import DAY_ORDERS, ENCODINGS
from facility.imports.report import Problem
from facility.models import PressureUnit, VolumeUnit

if TYPE_CHECKING:
    from collections.abc import Mapping

SETTINGS = "files.csv"
EVERY = "*"
MARKS = {".": ".", ",": ",", "point": ".", "comma": ","}
YES, NO = ("yes", "true", "1"), ("no", "false", "0", "")


@dataclass(frozen=True, slots=True)
class FileFormat:
    """How one file writes what it holds; None is "not stated"."""

    date_format: str | None = None
    decimal_mark: str = "."
    pressure_unit: str = ""
    volume_unit: str = ""
    time_zone: str = ""
    encoding: str = "utf-8"
    month_dates: bool = False


#: column of files.csv -> what may stand in it
ALLOWED: Mapping[str, tuple[str, ...]] = {
    "date_format": tuple(DAY_ORDERS),
    "decimal_mark": tuple(MARKS),
    "pressure_unit": tuple(PressureUnit.values),
    "volume_unit": tuple(VolumeUnit.values),
    "encoding": tuple(ENCODINGS),
    "month_dates": ("yes", "no"),
}
COLUMNS = (
    "file",
    "date_format",
    "decimal_mark",
    "pressure_unit",
    "volume_unit",
    "time_zone",
    "encoding",
    "month_dates",
)


@dataclass(slots=True)
class Formats:
    """The stated formats: one line for a file, or one with ``*`` for all the others."""

    stated: dict[str, FileFormat]

    def of(self, file: str) -> FileFormat:
        """Return how ``file`` is written."""
        return self.stated.get(file, self.stated.get(EVERY, FileFormat()))


def read_formats(rows: list[tuple[int, dict[str, str]]], known: list[str]) -> tuple[Formats, list[Problem]]:
    """Return the formats that the lines of files.csv state, and the lines that cannot be taken."""
    formats: dict[str, FileFormat] = {}
    problems: list[Problem] = []
    for line, cells in rows:
        file = cells.get("file", "")
        if file != EVERY and file not in known:
            advice = _("Write the name of a file, or * for all files that have no line of their own.")
            problems.append(
                Problem(SETTINGS, line, "file", file, _("no file of this name is known"), ", ".join(known), advice)
            )
            continue
        found, faults = _one(line, cells)
        problems += faults
        formats[file] = found
    return Formats(formats), problems


def _one(line: int, cells: dict[str, str]) -> tuple[FileFormat, list[Problem]]:
    stated = FileFormat()
    problems: list[Problem] = []
    for column, given in cells.items():
        if column == "file" or not given:
            continue
        if column == "time_zone":
            allowed, fits = _("a name such as Europe/Oslo"), given in available_timezones()
        else:
            allowed, fits = ", ".join(ALLOWED[column]), given in ALLOWED[column]
        if not fits:
            advice = _("Write one of the allowed values.")
            problems.append(Problem(SETTINGS, line, column, given, _("cannot be used here"), allowed, advice))
            continue
        stated = _with(stated, column, given)
    return stated, problems


def _with(stated: FileFormat, column: str, given: str) -> FileFormat:
    if column == "date_format":
        return replace(stated, date_format=given)
    if column == "decimal_mark":
        return replace(stated, decimal_mark=MARKS[given])
    if column == "month_dates":
        return replace(stated, month_dates=given in YES)
    if column == "pressure_unit":
        return replace(stated, pressure_unit=given)
    if column == "volume_unit":
        return replace(stated, volume_unit=given)
    if column == "encoding":
        return replace(stated, encoding=given)
    return replace(stated, time_zone=given)
