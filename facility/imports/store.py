"""What is stored at the site while files are taken in: read once, kept up to date row by row."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.imports.cells import CellError

if TYPE_CHECKING:
    from collections.abc import Callable

    from facility.events import Actor
    from facility.imports.kind import FileKind
    from facility.imports.parts import Part
    from facility.models import Kept, SheetVersion, Site

Key = tuple[Any, ...]


class Store:
    """The stored rows by file and natural key, and the keys of rows that were refused."""

    def __init__(self, kinds: dict[str, FileKind], *, site: Site | None, by: Actor) -> None:
        self.kinds = kinds
        self.site = site
        self.by = by
        self.current: dict[str, dict[Key, list[Kept]]] = {}
        self.past: dict[str, dict[Key, list[Kept]]] = {}
        self.refused: dict[tuple[str, Key], int] = {}
        self.notes: dict[str, Any] = {}
        self.parts: dict[str, dict[Key, list[Part]]] = {}
        self.versions: dict[Key, SheetVersion] = {}
        self.say: Callable[[str], object] = str

    def the_site(self) -> Site:
        """Return the site.

        Errors: CellError if there is none yet.
        """
        if self.site is None:
            raise CellError(_("there is no site yet"), "", _("Put site.csv with its one line into the folder."))
        return self.site

    def rows(self, file: str) -> dict[Key, list[Kept]]:
        """Return the rows that count, by natural key."""
        self._load(file)
        return self.current[file]

    def past_rows(self, file: str) -> dict[Key, list[Kept]]:
        """Return the rows that were retired or superseded, by natural key."""
        self._load(file)
        return self.past[file]

    def _load(self, file: str) -> None:
        if file in self.current:
            return
        self.current[file], self.past[file] = {}, {}
        if self.site is None:
            return
        kind = self.kinds[file]
        for row in kind.scope(self.site).order_by("pk"):
            place = self.current if row.retired_at is None else self.past
            place[file].setdefault(kind.key_of(row), []).append(row)

    def put(self, file: str, row: Kept, instead_of: Kept | None = None) -> None:
        """Remember a row that was stored just now."""
        kind = self.kinds[file]
        rows = self.rows(file).setdefault(kind.key_of(row), [])
        if instead_of is not None and instead_of in rows:
            rows[rows.index(instead_of)] = row
        else:
            rows.append(row)

    def find(self, file: str, key: Key) -> Kept:
        """Return the one row with this key.

        Errors: CellError naming near keys, or the refused line that would have made it.
        """
        found = self.rows(file).get(key)
        if found:
            return found[0]
        name = str(key[-1])
        if (file, key) in self.refused:
            line = self.refused[file, key]
            raise CellError(
                _("its own line %(line)s in %(file)s was refused") % {"line": line, "file": file}, "",
                _("Correct that line first."),
            )  # fmt: skip
        if key in self.past_rows(file):
            raise CellError(
                _("was retired at this site"), "", _("Take the line out, or name what stands in its place.")
            )
        known = [str(other[-1]) for other in self.rows(file) if other[:-1] == key[:-1]]
        near = get_close_matches(name, known, n=3, cutoff=0.6) or known[:6]
        raise CellError(
            _("is not known at this site"), ", ".join(near),
            _("Write it as in %(file)s, or add its line there.") % {"file": file},
        )  # fmt: skip
