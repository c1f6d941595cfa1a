"""Files whose lines belong to a row of another file: limits of sheets, crew and gas of plans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from facility.imports.kind import FileKind

if TYPE_CHECKING:
    from facility.imports.cells import Reading
    from facility.imports.store import Store
    from facility.models import Kept, Site


@dataclass(frozen=True, slots=True)
class Part:
    """One line of such a file."""

    file: str
    line: int
    values: dict[str, Any]


class PartFile(FileKind):
    """A file whose lines are gathered for the rows of ``part_of``, under the chamber and the key there."""

    part_of: ClassVar[str]
    #: column that holds the key of the row in ``part_of``
    of: ClassVar[str]
    model = None  # type: ignore[assignment]  # its lines are kept inside the rows of another file

    def scope(self, site: Site) -> Any:
        """Return nothing: there is no model behind the lines."""
        raise NotImplementedError

    def add(self, reading: Reading) -> Kept:
        """Never called: the row of ``part_of`` is what is stored."""
        raise NotImplementedError

    def owner(self, reading: Reading) -> tuple[Any, str]:
        """Return the chamber and key under which the line belongs."""
        return (reading.values["chamber"], reading.values[self.of])


def parts_of(store: Store, file: str, owner: tuple[Any, str]) -> list[Part]:
    """Return the lines of ``file`` that belong to one row."""
    found: list[Part] = store.parts.get(file, {}).get(owner, [])
    return found
