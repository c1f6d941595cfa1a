"""A log entry in words, and the refusals of its computation in the reader's language."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from treatments.compute.log_kinds import KINDS, Form
from treatments.models import LogEntry, LogKind

if TYPE_CHECKING:
    from treatments.compute.log_values import LogRefusedError

SHORT_UNIT = {"o2_percent": "% O2", "co2_percent": "% CO2 SEV", "humidity_percent": "% RH"}
IN_PEOPLE = frozenset({LogKind.OXYGEN_ON, LogKind.OXYGEN_OFF, LogKind.AIR_BREAK, LogKind.LOCK_IN, LogKind.LOCK_OUT})
#: keys of values that mark an entry and are told beside it
MARKS = frozenset({"beside_writer", "text_missing"})


def refusal(error: LogRefusedError | ValidationError) -> str:
    """Return why something was not taken, as one text."""
    if isinstance(error, ValidationError):
        return " ".join(str(message) for message in error.messages)
    values = {name: _(value) if isinstance(value, str) and value else value for name, value in error.values.items()}
    return _(error.sentence) % values


def kind_words(kind: str) -> str:
    """Return what a kind of entry is called."""
    return str(LogKind(kind).label)


def words_of(entry: LogEntry) -> str:
    """Return an entry as one line, without its marks: Patient 1: on oxygen."""
    what = kind_words(entry.kind)
    if entry.occupant is not None:
        what = f"{entry.occupant.label}: {what}"
    told = parts_of(entry)
    if entry.kind == LogKind.READING:
        return " · ".join(told) or what
    depth_first = entry.depth is not None and entry.occupant is None
    return f"{what} {' · '.join(told)}" if depth_first else ", ".join([what, *told])


def parts_of(entry: LogEntry) -> list[str]:
    """Return depth, values and remark of an entry, each with its unit."""
    told = [] if entry.depth is None else [f"{entry.depth.normalize():f} {entry.depth_unit}"]
    told += [text for key in entry.values if (text := value_words(entry, key))]
    return [*told, entry.remark] if entry.remark else told


def value_words(entry: LogEntry, key: str) -> str:
    """Return one value with its unit; nothing for a value that only goes with another."""
    value = KINDS[entry.kind].value(key)
    text = str(entry.values[key])
    if value is None or key == "bank_unit":
        return ""
    if value.form is Form.CHOICE:
        return _(dict(value.choices).get(text, text))
    if key == "bank_pressure":
        return _("oxygen bank %(value)s %(unit)s") % {"value": text, "unit": entry.values.get("bank_unit", "")}
    if key == "extension_depth_fsw":
        return _("at %(depth)s fsw") % {"depth": text}
    if key == "extension_count":
        return _("%(n)s more") % {"n": text}
    if key == "ventilation_acfm":
        return text + " acfm" if entry.kind == LogKind.VENTILATION else _("vent %(value)s acfm") % {"value": text}
    return f"{text} {SHORT_UNIT.get(key, value.unit)}"
