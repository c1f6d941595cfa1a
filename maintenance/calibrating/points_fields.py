"""The fields of a table of points: each cell a number, a row whole or empty."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.compute.typed import whole
from facility.fields import NumberField
from maintenance.calibrating.judging import COLUMNS

if TYPE_CHECKING:
    from django import forms

ROWS, MOST_ROWS = 6, 21
RUNS = {"found": gettext_lazy("As found"), "left": gettext_lazy("As left")}
HEADS = {
    "reference": gettext_lazy("reference"), "up": gettext_lazy("rising"), "down": gettext_lazy("falling"),
    "up_again": gettext_lazy("rising again"),
}  # fmt: skip


def cell(run: str, number: int, column: str) -> str:
    """Return the name of one cell's field."""
    return f"{run}-{number}-{column}"


def add_cells(form: forms.Form, rows: int) -> None:
    """Put the cells of both runs into a form; none is filled in beforehand."""
    for run, title in RUNS.items():
        for number in range(1, rows + 1):
            for column, head in HEADS.items():
                label = _("%(run)s, point %(number)s, %(column)s") % {"run": title, "number": number, "column": head}
                field = NumberField(label=label, required=False, max_digits=12, decimal_places=4)
                field.widget.attrs["aria-label"] = label
                form.fields[cell(run, number, column)] = field


def tables(form: forms.Form, rows: int) -> list[tuple[str, list[tuple[int, list[Any]]]]]:
    """Return both tables for the page: title, then each row's number with its bound cells."""
    return [
        (
            str(title),
            [(number, [form[cell(run, number, column)] for column in COLUMNS]) for number in range(1, rows + 1)],
        )
        for run, title in RUNS.items()
    ]


def read_points(form: forms.Form, run: str, rows: int) -> list[dict[str, str]]:
    """Return the points of one run as typed texts; a row without reference or rising reading is refused by its cell."""
    found = []
    for number in range(1, rows + 1):
        given = {column: form.cleaned_data.get(cell(run, number, column)) for column in COLUMNS}
        if all(value is None for value in given.values()):
            continue
        missing = [column for column in COLUMNS[:2] if given[column] is None]
        for column in missing:
            name = cell(run, number, column)
            if name not in form.errors:
                form.add_error(
                    name, ValidationError(_("Missing: each point needs a reference value and a rising reading."))
                )
        if not missing:
            found.append({column: str(value) for column, value in given.items() if value is not None})
    return found


def initial_cells(run: str, points: list[dict[str, str]]) -> dict[str, str]:
    """Return the cells of stored points, for a correction."""
    return {
        cell(run, number, column): point[column]
        for number, point in enumerate(points, start=1)
        for column in COLUMNS
        if column in point
    }


def rows_asked(text: str | None, least: int = ROWS) -> int:
    """Return how many rows the page shows: as asked for, within what it can."""
    wanted = whole(text, least)
    return max(least, min(wanted, MOST_ROWS))
