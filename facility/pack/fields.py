"""What leaves in a pack: the allow-list of fields, read from ``fields.toml`` and held against the models."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.apps import apps

if TYPE_CHECKING:
    from django.db.models import Model

FILE: Final = Path(__file__).parent / "fields.toml"
APPS: Final = ("facility", "maintenance", "treatments")
TEXTS: Final = ("site", "chamber", "equipment", "bank", "rule", "when", "until")
LISTS: Final = ("areas", "attach", "people", "exported", "digest")
#: each event carries the number of its actor's account already
ACCOUNT: Final = ("account of a person", "device of a person")


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of record that is given as a table.

    ``site``, ``chamber``, ``equipment``: the way from a row to its site, chamber, item; ``bank``: to the gas bank that it
    is about where it has no item. ``release``, ``kept``: field
    and the reason for which it is kept back; ``release`` may be let go one by one, ``kept`` never.
    """

    label: str
    name: str
    site: str
    chamber: str
    equipment: str
    bank: str
    rule: str
    when: str
    until: str
    personal: bool
    only_attached: bool
    areas: tuple[str, ...]
    attach: tuple[str, ...]
    people: tuple[str, ...]
    exported: tuple[str, ...]
    digest: tuple[str, ...]
    release: dict[str, str]
    kept: dict[str, str]
    units: dict[str, str]

    @property
    def model(self) -> type[Model]:
        """The model behind it."""
        return apps.get_model(self.label)

    def attname(self, field: str) -> str:
        """Return the column of a field."""
        return str(self.model._meta.get_field(field).attname)  # type: ignore[union-attr]  # concrete ones only

    @property
    def told_by_events(self) -> frozenset[str]:
        """The columns that the text of an event may carry: what is exported, numbers of accounts and of files."""
        files = [name for name in self.release if self.model._meta.get_field(name).is_relation]
        accounts = [name for name, why in self.kept.items() if why in ACCOUNT]
        return frozenset(self.attname(name) for name in (*self.exported, *files, *accounts))


@cache
def _content() -> dict[str, dict[str, Any]]:
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


@cache
def tables() -> tuple[Table, ...]:
    """Return every table, by name."""
    found = [_table(label, content) for label, content in _content().items() if "table" in content]
    return tuple(sorted(found, key=lambda one: one.name))


@cache
def by_label() -> dict[str, Table]:
    """Return every table by its model's label in small letters, as events name it."""
    return {one.label.lower(): one for one in tables()}


def _table(label: str, content: dict[str, Any]) -> Table:
    told: dict[str, Any] = {name: str(content.get(name, "")) for name in TEXTS}
    told |= {name: bool(content.get(name)) for name in ("personal", "only_attached")}
    told |= {name: tuple(content.get(name, ())) for name in LISTS}
    told |= {name: dict(content.get(name, {})) for name in ("release", "kept", "units")}
    return Table(label=label, name=content["table"], **told)


def classified(label: str) -> list[str]:
    """Return the fields of a model that the list names, each as often as it is named."""
    content = _content().get(label, {})
    if "table" not in content:
        return list(content.get("fields", ())) if content.get("whole") else []
    table = _table(label, content)
    return [*table.exported, *table.digest, *table.release, *table.kept]


def faults() -> list[str]:
    """Return what the list and the models do not agree on; nothing if every field is named exactly once."""
    wrong: list[str] = []
    known = {m._meta.label: m for m in apps.get_models(include_auto_created=True) if m._meta.app_label in APPS}
    for label, model in known.items():
        fields = [field.name for field in model._meta.concrete_fields]
        named = classified(label)
        wrong += [f"{label}.{name} is not classified" for name in fields if name not in named]
        wrong += [f"{label}.{name} is no field" for name in named if name not in fields]
        wrong += [f"{label}.{name} is classified twice" for name in set(named) if named.count(name) > 1]
    wrong += [f"{label} is no model" for label in _content() if label not in known]
    return wrong
