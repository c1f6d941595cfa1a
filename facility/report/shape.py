"""What a volume says, as plain data: sections of tables, lists and pictures. Knows neither records nor Django."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

#: rows of one table: the time of one long table grows faster than its rows
ROWS_AT_ONCE: Final = 250
#: rows of one document: its memory grows with its pages
ROWS_A_VOLUME: Final = 900
#: rows for which a picture counts
PICTURE_ROWS: Final = 25


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text, a line below it, whether it is a figure. ``strong``: what the eye must find; ``fine``: a digest."""

    text: str
    sub: str = ""
    figure: bool = False
    strong: bool = False
    fine: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table. ``rows``: the first cell names the row. ``record``: number of the event behind each, the last cell."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    widths: tuple[int, ...] = ()
    nothing: str = ""
    #: of how many records each row tells, where some tell of several
    shares: tuple[int, ...] = ()

    def told_by(self, rows: int | None = None) -> int:
        """Return how many records the first so many rows tell of, or all of them."""
        return sum(self.shares[:rows]) if self.shares else len(self.rows[:rows])

    @property
    def columns(self) -> tuple[tuple[str, str], ...]:
        """Each head with the class of its width."""
        widths = [f"w{width}" for width in self.widths] or [""] * len(self.head)
        figures = [" n" if cell.figure else "" for cell in self.rows[0]] if self.rows else [""] * len(self.head)
        return tuple(zip(self.head, (f"{one}{two}" for one, two in zip(widths, figures, strict=True)), strict=True))


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of ours as an address within the page, and the same in words. ``caption`` stands below it.

    ``half``: two of them stand side by side.
    """

    address: str
    words: str
    caption: str = ""
    half: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """A part with a heading of its own. ``count`` stands large beside it where a number is the news."""

    title: str
    lead: str = ""
    count: int | None = None
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    boxed: tuple[str, ...] = ()
    level: int = 2

    @property
    def says_nothing(self) -> bool:
        """Whether there is neither a row nor a picture nor a fact in it."""
        return not (self.pictures or self.facts or self.notes or any(table.rows for table in self.tables))

    @property
    def weight(self) -> int:
        """How much of a document it takes, in rows."""
        rows = sum(len(table.rows) + 3 for table in self.tables)
        return rows + PICTURE_ROWS * len(self.pictures) + len(self.facts) + len(self.notes) + 3


@dataclass(frozen=True, slots=True)
class FrontRow:
    """What is not in order of one sort: how many, the first of them. ``place``: of its section, 0 where there is none."""

    count: int
    title: str
    lines: tuple[str, ...]
    more: str
    place: int


@dataclass(frozen=True, slots=True)
class Front:
    """The page that opens a report: what must be seen in one look."""

    about: str
    counts: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[FrontRow, ...]
    picture: Picture
    proofs: tuple[str, ...]
    verify: str
    digests: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Volume:
    """One document. ``month``: the month whose records it holds, or nothing. ``plate``: what stands in its head."""

    name: str
    title: str
    sections: tuple[Section, ...]
    lead: str = ""
    month: str = ""
    plate: tuple[tuple[str, str], ...] = field(default=())
    foot: str = ""
    front: Front | None = None

    @property
    def says_nothing(self) -> bool:
        """Whether none of its sections has anything to tell."""
        return all(section.says_nothing for section in self.sections)

    @property
    def weight(self) -> int:
        """How much it holds, in rows."""
        return sum(section.weight for section in self.sections)


def chunked(table: Table, most: int = ROWS_AT_ONCE) -> Iterator[Table]:
    """Yield a table in pieces of at most ``most`` rows, each with its head.

    >>> rows = tuple((Cell(str(n)),) for n in range(5))
    >>> [len(piece.rows) for piece in chunked(Table("five", ("n",), rows), 2)]
    [2, 2, 1]
    """
    if len(table.rows) <= most:
        yield table
        return
    for start in range(0, len(table.rows), most):
        rows = table.rows[start : start + most]
        words = f"{table.caption} ({start + 1}\u2013{start + len(rows)})"
        yield replace(table, rows=rows, caption=words)


def in_pieces(section: Section, most: int = ROWS_AT_ONCE) -> Section:
    """Return a section whose tables have at most ``most`` rows each."""
    return replace(section, tables=tuple(piece for table in section.tables for piece in chunked(table, most)))


def parts(volume: Volume, most: int = ROWS_A_VOLUME) -> list[Volume]:
    """Return a volume, or where it is long several, named with their number.

    A section stays whole unless it alone is longer; then its tables are dealt out in pieces.

    >>> one = Section("a", tables=(Table("t", ("n",), tuple((Cell(str(n)),) for n in range(20))),))
    >>> [part.name for part in parts(Volume("v", "V", (one, one, one)), 60)]
    ['v-a', 'v-b']
    """
    groups: list[list[Section]] = [[]]
    weight = 0
    for section in _pieces(volume.sections, most):
        if groups[-1] and weight + section.weight > most:
            groups.append([])
            weight = 0
        groups[-1].append(section)
        weight += section.weight
    if len(groups) == 1:
        return [replace(volume, sections=tuple(groups[0]))]
    return [
        replace(
            volume, name=f"{volume.name}-{_letters(place)}", title=f"{volume.title}, {place + 1}/{len(groups)}",
            sections=tuple(group), front=None if place else volume.front,
        )
        for place, group in enumerate(groups)
    ]  # fmt: skip


def _letters(place: int) -> str:
    """Return a, b ... z, za, zb ...: in the order of names too."""
    return "z" * (place // 25) + chr(ord("a") + place % 25)


def _pieces(sections: Iterable[Section], most: int) -> Iterator[Section]:
    for section in sections:
        whole = in_pieces(section)
        if whole.weight <= most:
            yield whole
            continue
        yield from _dealt(whole, most)


def _dealt(section: Section, most: int) -> Iterator[Section]:
    """Yield a long section as several: first what stands before its tables, then tables, then pictures."""
    first = replace(section, tables=(), pictures=())
    later = Section(section.title, level=section.level)
    held: list[Table] = []
    for table in section.tables:
        if held and sum(len(one.rows) + 3 for one in [*held, table]) > most:
            yield replace(first, tables=tuple(held))
            first, held = later, []
        held.append(table)
    if held or not section.pictures:
        yield replace(first, tables=tuple(held))
        first = later
    at_once = max(1, most // PICTURE_ROWS - 1)
    for start in range(0, len(section.pictures), at_once):
        yield replace(first, pictures=section.pictures[start : start + at_once])
        first = later
