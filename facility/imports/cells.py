"""What one cell of a file may hold, and the words in which it is refused."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from facility.compute import typed
from facility.compute.csv_reading import DAY_ORDERS, ISO, calendar_day, parts_of_day
from facility.compute.typed import Refusal, TypedError
from facility.imports.formats import NO, YES

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.db.models import TextChoices

    from facility.imports.formats import FileFormat
    from facility.imports.store import Store

MINUS = "\N{MINUS SIGN}"
_MONTH = re.compile(r"(\d{4})-(\d{1,2})")
_CLOCK = re.compile(r"(?P<day>\S+)[ T](?P<clock>\d{1,2}:\d{2})(?::\d{2})?(?P<zone> ?(?:Z|UTC|[+-]\d{2}:\d{2}))?")
_KEY = re.compile(r"[a-z0-9][a-z0-9_-]*")


@dataclass(frozen=True, slots=True)
class Place:
    """A cell of a file that belongs to another file's row."""

    file: str
    line: int
    value: str


class CellError(Exception):
    """A cell that cannot be taken: what is wrong, what is allowed, what to do."""

    def __init__(
        self, what: str, allowed: str = "", advice: str = "", column: str = "", place: Place | None = None
    ) -> None:
        super().__init__(what)
        self.what, self.allowed, self.advice, self.column = what, allowed, advice, column
        #: where it stands, if in a line of another file that belongs to this row
        self.place = place


class RestsOnRefusedError(Exception):
    """A cell that cannot be judged because another cell of its row was refused."""


@dataclass(slots=True)
class Reading:
    """One row being read: its file's format, the zone, the shift of days, and the values so far."""

    file: str
    format: FileFormat
    zone: ZoneInfo
    store: Store
    shift: timedelta = timedelta(0)
    values: dict[str, Any] = field(default_factory=dict)
    blank: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, how a cell is read, and what its guide says."""

    name: str
    read: Callable[[str, Reading], Any]
    about: Any
    allowed: str = ""
    required: bool = False
    stored: bool = True  # False: not a field of the model


def text(most: int) -> Callable[[str, Reading], str]:
    """Read any text of at most ``most`` letters."""

    def read(given: str, _reading: Reading) -> str:
        if len(given) > most:
            raise CellError(
                _("has %(count)s letters") % {"count": len(given)}, _("at most %(most)s letters") % {"most": most},
                _("Shorten it."),
            )  # fmt: skip
        return given

    return read


def slug(given: str, _reading: Reading) -> str:
    """Read a key: small letters, digits and hyphens."""
    if len(given) > 60 or _KEY.fullmatch(given) is None:  # noqa: PLR2004  # the length of a key's column
        raise CellError(
            _("is not a key"), _("small letters a to z, digits and hyphens, at most 60, for example oxygen-1"),
            _("Write it so, the same in every file."),
        )  # fmt: skip
    return given


def choice(choices: type[TextChoices]) -> Callable[[str, Reading], str]:
    """Read one word out of a few; its name on the pages is taken too."""
    words = {str(label).lower(): value for value, label in choices.choices}

    def read(given: str, _reading: Reading) -> str:
        if given in choices.values:
            return given
        if given.lower() in words:
            return str(words[given.lower()])
        raise CellError(_("is not one of the allowed words"), ", ".join(choices.values), _("Write one of these words."))

    return read


def yes_no(given: str, _reading: Reading) -> bool:
    """Read yes or no."""
    if given.lower() in YES:
        return True
    if given.lower() in NO:
        return False
    raise CellError(_("is neither yes nor no"), "yes, no", _("Write yes or no."))


def whole(least: int, most: int) -> Callable[[str, Reading], int]:
    """Read a whole number between two bounds, both allowed."""

    def read(given: str, _reading: Reading) -> int:
        if not (given.isascii() and given.isdigit() and len(given) <= 9 and least <= int(given) <= most):  # noqa: PLR2004
            raise CellError(
                _("is not such a whole number"), _("%(least)s to %(most)s") % {"least": least, "most": most},
                _("Write digits only."),
            )  # fmt: skip
        return int(given)

    return read


def number(least: str, most: str) -> Callable[[str, Reading], Decimal]:
    """Read a decimal number between two bounds, both allowed, with the file's decimal mark."""

    def read(given: str, reading: Reading) -> Decimal:
        value = _decimal(given, reading)
        if not Decimal(least) <= value <= Decimal(most):
            raise CellError(
                _("lies outside what can be"), _("%(least)s to %(most)s") % {"least": least, "most": most},
                _("Read it again, and its unit too."),
            )  # fmt: skip
        return value

    return read


def _decimal(given: str, reading: Reading) -> Decimal:
    mark = reading.format.decimal_mark
    other = "." if mark == "," else ","
    sign = given[1:] if given[:1] in {"-", "+", MINUS} else given
    parts = sign.split(mark)
    if len(parts) <= 2 and all(part.isascii() and part.isdigit() for part in parts):  # noqa: PLR2004  # before and after the mark
        return Decimal(("-" if given[:1] in {"-", MINUS} else "") + ".".join(parts))
    if other in given:
        raise CellError(
            _("holds “%(other)s”, and the decimal mark of this file is “%(mark)s”") % {"other": other, "mark": mark},
            _("digits with “%(mark)s” before the decimals, no thousand separator") % {"mark": mark},
            _("State the file's decimal_mark in files.csv, or write the number so."),
        )
    raise CellError(
        _("is not a number"), _("digits with “%(mark)s” before the decimals, no thousand separator") % {"mark": mark},
        _("Write the number alone; its unit has a column of its own."),
    )  # fmt: skip


def day(given: str, reading: Reading) -> date:
    """Read a civil day in the order that files.csv states."""
    stated = reading.format.date_format
    parts = parts_of_day(given, stated or ISO)
    if parts is None:
        raise _not_so_written(given, stated)
    found = calendar_day(*parts)
    if found is None:
        raise CellError(_no_such_day(*parts), stated or ISO, _("Look at the paper again and write the right day."))
    return found + reading.shift


def _no_such_day(year: int, month: int, number_of_day: int) -> str:
    december = 12
    if 1 <= month <= december and 1 <= year <= 9999:  # noqa: PLR2004  # years a calendar can name
        days = calendar.monthrange(year, month)[1]
        return _("is no day: the month %(month)s of %(year)s has days 1 to %(days)s; the day read is %(day)s") % {
            "month": month, "year": year, "days": days, "day": number_of_day,
        }  # fmt: skip
    return _("is no day: the month read is %(month)s") % {"month": month}


def _not_so_written(given: str, stated: str | None) -> CellError:
    if stated:
        return CellError(
            _("is not written as files.csv states for this file"), stated,
            _("Write it so, or state the right date_format."),
        )  # fmt: skip
    orders = [name for name in DAY_ORDERS if name != ISO and parts_of_day(given, name)]
    if len(orders) > 1:
        what = _("may be read in more than one order, and no order is stated")
    else:
        what = _("is not a day in figures, year first")
    return CellError(
        what, f"{ISO}; {_('or another order that files.csv states for this file')}: {', '.join(DAY_ORDERS)}",
        _("Add a line for this file to files.csv with its date_format, for example DD/MM/YYYY."),
    )  # fmt: skip


def day_or_month(given: str, reading: Reading) -> date:
    """Read a day, or a month where files.csv says ``month_dates`` yes: its first day, so that it falls due early."""
    found = _MONTH.fullmatch(given)
    if found is None:
        return day(given, reading)
    if not reading.format.month_dates:
        raise CellError(
            _("is a month without a day"), reading.format.date_format or ISO,
            _("Write the day; or state month_dates yes in files.csv, then the first day of the month is taken."),
        )  # fmt: skip
    first = calendar_day(int(found[1]), int(found[2]), 1)
    if first is None:
        raise CellError(_("is no month"), "YYYY-MM", _("Write the month as 01 to 12."))
    return first + reading.shift


def instant(given: str, reading: Reading) -> datetime:
    """Read a day and a time of day in the file's zone, or with its own offset."""
    found = _CLOCK.fullmatch(given)
    shape = _("a day, a blank, and hours and minutes, for example 2026-02-11 20:30")
    if found is None:
        raise CellError(_("is not a day with a time"), shape, _("Write it so; local time of the site, 24 hours."))
    on = day(found["day"], reading)
    try:
        return typed.instant(f"{on.isoformat()} {found['clock']}{(found['zone'] or '').strip()}", reading.zone)
    except TypedError as error:
        raise _clock_error(error, shape, reading) from None


def _clock_error(error: TypedError, shape: str, reading: Reading) -> CellError:
    zone = {"zone": str(reading.zone)}
    if error.refusal == Refusal.SKIPPED:
        return CellError(
            _("is skipped by the clock change in %(zone)s") % zone, shape, _("Write a time before or after it.")
        )
    if error.refusal == Refusal.TWICE:
        return CellError(
            _("comes twice on that day in %(zone)s") % zone, shape, _("Write the offset behind it, such as +01:00.")
        )
    return CellError(_("is no time of day"), shape, _("Write hours 0 to 23 and minutes 00 to 59."))


def reference(file: str, *given_columns: str) -> Callable[[str, Reading], Any]:
    """Read the key or tag of something that another file, or the store, has."""

    def read(given: str, reading: Reading) -> Any:
        parts: list[Any] = []
        for name in given_columns:
            if reading.values.get(name) is None:
                if name not in reading.blank:
                    raise RestsOnRefusedError
                raise CellError(_("needs the column %(name)s") % {"name": name}, "", _("Fill that column too."))
            parts.append(reading.values[name])
        return reading.store.find(file, (*parts, given))

    return read
