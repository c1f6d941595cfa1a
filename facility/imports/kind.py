"""What every kind of file has: its columns, its natural key, and how a row is stored."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, ClassVar

from facility import services
from facility.access import Act
from facility.imports.matching import BY_IMPORT
from facility.models import Entry, Kept

if TYPE_CHECKING:
    from facility.imports.cells import Column, Reading
    from facility.imports.store import Key, Store
    from facility.models import Site

OWN = {"id", "supersedes", "retired_at", "retired_reason", "recorded_at", "recorded_by", "row_version"}


class FileKind:
    """One kind of file. A row that is there already is compared; a changed cell is a correction.

    An empty cell states nothing: it never erases what is stored.
    """

    file: ClassVar[str]
    model: ClassVar[type[Kept]]
    about: ClassVar[Any]
    columns: ClassVar[tuple[Column, ...]]
    #: columns that tell one row from another
    key: ClassVar[tuple[str, ...]]
    #: whether two rows may have the same key (the second of a day)
    repeats: ClassVar[bool] = False
    act: ClassVar[Act] = Act.PLANT
    #: column with the instant of which a line tells; what is taken from a file is a late entry
    happened: ClassVar[str] = ""

    @property
    def reason(self) -> str:
        """The reason kept with a correction that a file makes."""
        return f"{BY_IMPORT}{self.file}"

    def all_rows(self) -> Any:
        """Return the model's rows; untyped, since each kind has a model of its own."""
        return self.model.objects.all()

    def scope(self, site: Site) -> Any:
        """Return every row of this kind at the site, past ones included."""
        raise NotImplementedError

    def key_of(self, row: Any) -> Key:
        """Return the natural key of a stored row."""
        return tuple(getattr(row, self.field_of(name)) for name in self.key)

    def field_of(self, column: str) -> str:
        """Return the model's field behind a column; the same name unless a kind says otherwise."""
        return column

    def fixed(self, store: Store) -> dict[str, Any]:
        """Return fields that no column holds, such as the site."""
        return {}

    def check(self, reading: Reading) -> None:
        """Refuse what only shows when several cells are seen together. Errors: CellError."""

    def stored_columns(self) -> list[Column]:
        """Return the columns that are fields of the model."""
        return [column for column in self.columns if column.stored]

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        """Return old and new value of every column that states something else than is stored."""
        found: dict[str, tuple[Any, Any]] = {}
        for column in self.stored_columns():
            if column.name in reading.blank or column.name not in reading.values:
                continue
            old, new = getattr(stored, self.field_of(column.name)), reading.values[column.name]
            if not _same(old, new):
                found[column.name] = (old, new)
        return found

    def fields(self, reading: Reading) -> dict[str, Any]:
        """Return the model's fields from the cells of a new row."""
        values = {
            self.field_of(column.name): reading.values[column.name]
            for column in self.stored_columns()
            if reading.values.get(column.name) is not None
        }
        return {**self.fixed(reading.store), **values, **self.beside(reading)}

    def beside(self, reading: Reading) -> dict[str, Any]:
        """Return fields that come from other files' lines."""
        return {}

    def add(self, reading: Reading) -> Kept:
        """Store a new row."""
        row = self.model(**self.fields(reading))
        if self.happened and isinstance(row, Entry):
            row.occurred_at = reading.values[self.happened]
        late = bool(self.happened)
        return services.add(row, by=reading.store.by, action="imported", late=late)

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Kept:
        """Store changed cells: in place for a lasting thing, as a superseding entry for a statement."""
        reason = self.reason
        news = {self.field_of(name): new for name, (_old, new) in changed.items() if self._is_stored(name)}
        if isinstance(stored, Entry):
            entry: Any = self.model(**{**copied(stored), **news, **self.beside(reading)})
            return services.supersede(stored, self.next_version(stored, entry), by=reading.store.by, reason=reason)
        kept: Kept = stored
        if not news:
            return kept
        row: Kept = self.all_rows().get(pk=stored.pk)
        for name, value in news.items():
            setattr(row, name, value)
        return services.change(row, by=reading.store.by, reason=reason, shown_version=row.row_version)

    def next_version(self, old: Any, new: Any) -> Any:
        """Give a superseding entry its version, where the kind has versions."""
        if hasattr(old, "version"):
            new.version = old.version + 1
        return new

    def _is_stored(self, name: str) -> bool:
        return any(column.name == name and column.stored for column in self.columns)


def copied(stored: Kept) -> dict[str, Any]:
    """Return the fields of an entry that its correction takes over."""
    return {field.name: getattr(stored, field.name) for field in stored._meta.concrete_fields if field.name not in OWN}


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, Decimal) and isinstance(new, Decimal | int):
        return old == new
    return bool(old == new)
