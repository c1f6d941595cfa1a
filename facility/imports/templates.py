"""The CSV templates and their guide, made from the kinds themselves."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.imports.formats import ALLOWED, COLUMNS, SETTINGS
from facility.imports.kinds import KINDS

if TYPE_CHECKING:
    from facility.imports.kind import FileKind

FIXED_TIME = (2000, 1, 1, 0, 0, 0)  # so that the same templates are the same bytes


def templates() -> dict[str, str]:
    """Return the text of each template by name: its line of columns."""
    files = {SETTINGS: ",".join(COLUMNS) + "\n"}
    return files | {kind.file: ",".join(column.name for column in kind.columns) + "\n" for kind in KINDS}


def templates_zip() -> bytes:
    """Return all templates and the guide as one zip."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in [*sorted(templates().items()), ("guide.txt", guide_text())]:
            archive.writestr(zipfile.ZipInfo(name, FIXED_TIME), text)
    return buffer.getvalue()


def guide() -> list[dict[str, Any]]:
    """Return what the guide says of each file: what it is for, and each column."""
    return [_settings_guide(), *(_guide_of(kind) for kind in KINDS)]


def _settings_guide() -> dict[str, Any]:
    about = {
        "file": _("name of a file, or * for all that have no line of their own"),
        "date_format": _("order of day, month and year; without it only YYYY-MM-DD is taken"),
        "decimal_mark": _("mark before the decimals; without it the point"),
        "pressure_unit": _("unit of gauge pressures whose column is empty"),
        "volume_unit": _("unit of volumes whose column is empty"),
        "time_zone": _("zone of the times; without it the site's"),
        "encoding": _("how the letters are stored; without it UTF-8"),
        "month_dates": _("yes: a month without a day is taken as its first day"),
    }
    return {
        "file": SETTINGS,
        "about": _("How the files write days and numbers. Needed as soon as a file writes days in another order than YYYY-MM-DD, or decimals with a comma. Nothing is guessed."),
        "key": "file",
        "columns": [
            {"name": name, "about": about[name], "allowed": ", ".join(ALLOWED.get(name, ())), "required": name == "file"}
            for name in COLUMNS
        ],
    }  # fmt: skip


def _guide_of(kind: FileKind) -> dict[str, Any]:
    return {
        "file": kind.file,
        "about": str(kind.about),
        "key": " + ".join(kind.key),
        "columns": [
            {
                "name": column.name, "about": str(column.about), "allowed": column.allowed,
                "required": column.required,
            }
            for column in kind.columns
        ],
    }  # fmt: skip


def guide_text() -> str:
    """Return the guide as plain text."""
    lines = [
        _("Columns of the files. A column marked ! must be filled in each line; any other may be left out."),
        _("Comma or semicolon between the cells; UTF-8. One folder is one site. The same file twice changes nothing."),
    ]
    for part in guide():
        lines += ["", f"{part['file']}: {part['about']}", _("One line is one %(key)s.") % {"key": part["key"]}]
        for column in part["columns"]:
            allowed = f" [{column['allowed']}]" if column["allowed"] else ""
            lines.append(f"  {'!' if column['required'] else ' '} {column['name']}: {column['about']}{allowed}")
    return "\n".join(lines) + "\n"
