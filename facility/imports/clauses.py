"""The column that says from which clause of a code a rule was adopted, and what the app's book then says beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.imports.cells import CellError, Column
from maintenance.reference import requirements
from maintenance.upkeep.adopting import ADOPTABLE, by_key, texts_from

if TYPE_CHECKING:
    from facility.imports.cells import Reading

#: what is taken from the book where the line says nothing of it
FROM_BOOK = ("source", "standing", "acceptance", "who_may", "evidence_asked")


def clause(given: str, _reading: Reading) -> str:
    """Read the key of a clause that can become a rule of an item.

    Errors: CellError naming the keys there are.
    """
    found = by_key(given)
    if found is None or found.interval.kind not in ADOPTABLE:
        known = ", ".join(one.key for one in requirements() if one.interval.kind in ADOPTABLE)
        raise CellError(
            _("is no clause of the app's book that an item can have a rule from"), known,
            _("Write its key as on the page of clauses, or leave the cell empty and give the source in words."),
        )  # fmt: skip
    return given


CLAUSE = Column("clause", clause, gettext_lazy("key of the clause in the app's book that it was adopted from"))


def said_by_clause(reading: Reading) -> dict[str, Any]:
    """Return the fields that the book fills where a line names a clause and leaves their cells empty."""
    found = by_key(reading.values.get("clause") or "")
    if found is None:
        return {}
    told = texts_from(found)
    return {name: told[name] for name in FROM_BOOK if reading.values.get(name) in (None, "")}
