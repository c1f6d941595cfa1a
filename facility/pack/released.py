"""What is let go one by one: a text or a picture that is kept back otherwise, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility.models import Evidence
from facility.pack import fields
from facility.pack.tables import compact, stored

if TYPE_CHECKING:
    from pathlib import Path

    from facility.models import Pack, Site
    from facility.pack.fields import Table

LONGEST_REASON = 300
MOST = 200


@dataclass(frozen=True, slots=True)
class Release:
    """One value that may leave: of which record, which field, why."""

    model: str
    pk: int
    field: str
    reason: str

    def as_json(self) -> dict[str, Any]:
        """Return it as a pack's row keeps it."""
        return {"model": self.model, "pk": self.pk, "field": self.field, "reason": self.reason}


def parsed(text: str) -> list[Release]:
    """Return the releases of a form, one a line: record, number, field, reason.

    Errors: ValidationError naming the line.
    """
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        words = line.split(maxsplit=3)
        if len(words) < 4 or not words[1].isdecimal():  # noqa: PLR2004  # the four words
            raise ValidationError(
                _("Line %(number)d, “%(line)s”: write table, number, field and the reason, such as"
                  " “log_entries 17 remark asked for by the court”."),
                params={"number": number, "line": line[:80]},
            )  # fmt: skip
        found.append(Release(words[0], int(words[1]), words[2], words[3]))
    return found


def checked(releases: list[Release], site: Site) -> list[Release]:
    """Return the releases with the model's name in the place of the table's.

    Errors: ValidationError naming what is not there, is not of this site or never leaves.
    """
    if len(releases) > MOST:
        raise ValidationError(_("%(found)d are released; %(most)d at most in one pack."),
                              params={"found": len(releases), "most": MOST})  # fmt: skip
    return [_checked(one, site) for one in releases]


def _checked(one: Release, site: Site) -> Release:
    table = table_of(one.model)
    if one.field not in table.release:
        allowed = ", ".join(table.release) or _("nothing")
        raise ValidationError(
            _("The field “%(field)s” of %(table)s is not released one by one. There may be released: %(allowed)s."),
            params={"field": one.field, "table": table.name, "allowed": allowed},
        )
    if not one.reason.strip() or len(one.reason) > LONGEST_REASON:
        raise ValidationError(
            _("Say in 1 to %(most)d letters why %(table)s %(pk)d is released."),
            params={"most": LONGEST_REASON, "table": table.name, "pk": one.pk},
        )
    rows = table.model._base_manager.filter(**{table.site: site.pk})
    if one.pk >= 2**63 or not rows.filter(pk=one.pk).exists():
        raise ValidationError(_("There is no record %(pk)d in %(table)s of this site."),
                              params={"pk": one.pk, "table": table.name})  # fmt: skip
    return Release(table.label, one.pk, one.field, one.reason.strip())


def table_of(name: str) -> Table:
    """Return the table by its name or its model's label.

    Errors: ValidationError if there is none.
    """
    found = next((table for table in fields.tables() if name in (table.name, table.label)), None)
    if found is None:
        raise ValidationError(_("There is no table “%(name)s”. The tables are named in any pack's columns.csv."),
                              params={"name": name})  # fmt: skip
    return found


def of(pack: Pack) -> list[Release]:
    """Return the releases of a pack."""
    return [Release(one["model"], int(one["pk"]), one["field"], one["reason"]) for one in pack.released]


def write(pack: Pack, using: str, path: Path) -> list[int]:
    """Write the released values with their reasons as JSON lines; return the numbers of released files."""
    files: list[int] = []
    lines = []
    for one in of(pack):
        table = table_of(one.model)
        column = table.attname(one.field)
        model: Any = table.model
        value = model._base_manager.using(using).filter(pk=one.pk).values_list(column, flat=True).first()
        if model._meta.get_field(one.field).related_model is Evidence and value:
            files.append(value)
        told = {"table": table.name, "id": one.pk, "field": column, "value": stored(value), "reason": one.reason}
        lines.append(compact(told) + "\n")
    path.write_text("".join(lines), encoding="utf-8", newline="\n")
    return files
