"""What the log screen needs to know on the device, so that it goes on without the network: kinds, words, limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.reference import sources
from treatments.compute.log_kinds import KINDS, Form
from treatments.log.spans import depth_spans, rules_for, spans
from treatments.log.wording import kind_words
from treatments.models import LogKind
from treatments.table_book.tables import table_of_run

if TYPE_CHECKING:
    from facility.compute.reference import Sourced
    from treatments.compute.log_kinds import Kind, Value
    from treatments.compute.log_values import Span
    from treatments.models import Run

Plain = dict[str, Any]
K = LogKind


def groups() -> list[Plain]:
    """Return the buttons of the quick bar in their order: key, label, kinds behind it. The first is the main one."""
    found: list[tuple[str, str, tuple[LogKind, ...]]] = [
        ("reading", _("Reading"), (K.READING,)),
        ("depth", _("Depth"), (K.LEFT_SURFACE, K.REACHED_DEPTH, K.LEFT_DEPTH, K.REACHED_STOP, K.LEFT_STOP, K.REACHED_SURFACE)),
        ("lock", _("Lock transfer"), (K.LOCK_IN, K.LOCK_OUT)),
        ("symptom", _("Symptom"), (K.SYMPTOM, K.RELIEF, K.EXAMINATION, K.OUTCOME)),
        ("drug", _("Drug, fluid"), (K.DRUG, K.FLUID_IN, K.FLUID_OUT)),
        ("extension", _("Extension"), (K.EXTENSION,)),
        ("ventilation", _("Ventilation"), (K.VENTILATION,)),
        ("note", _("Note"), (K.NOTE,)),
        ("oxygen", _("Oxygen, person"), (K.OXYGEN_ON, K.AIR_BREAK, K.OXYGEN_OFF)),
        ("toxicity", _("Toxicity sign"), (K.OXYGEN_TOXICITY,)),
        ("oxygen_lost", _("Oxygen supply lost"), (K.OXYGEN_LOST, K.OXYGEN_BACK)),
        ("communication", _("Communication lost"), (K.COMMUNICATION_LOST, K.COMMUNICATION_BACK)),
    ]  # fmt: skip
    return [{"key": key, "label": label, "kinds": [str(kind) for kind in kinds]} for key, label, kinds in found]


def kinds() -> dict[str, Plain]:
    """Return each kind of entry for the screen's script, in the reader's language."""
    return {key: _kind(kind) for key, kind in KINDS.items()}


def _kind(kind: Kind) -> Plain:
    return {
        "label": kind_words(kind.key), "occupant": str(kind.occupant), "depth": str(kind.depth), "clinical": kind.clinical,
        "some": kind.some, "twice": kind.twice, "values": [_value(one) for one in kind.values],
        "rules": [_rule(one) for one in rules_for(kind.key)],
    }  # fmt: skip


def _value(value: Value) -> Plain:
    shape: Plain = {
        "key": value.key, "label": _(value.label), "unit": value.unit, "form": str(value.form), "needed": value.needed,
    }  # fmt: skip
    if value.form is Form.CHOICE:
        shape["choices"] = [[key, _(words)] for key, words in value.choices]
    elif value.key == "bank_pressure":
        shape["units"] = {key.partition(".")[2]: _span(one) for key, one in spans().items() if key.startswith("bank_")}
    else:
        shape["span"] = _span(spans()[value.key])
    return shape


def _span(span: Span) -> list[float]:
    return [float(span.least), float(span.most), float(span.low), float(span.high)]


def _rule(one: Sourced) -> Plain:
    title = str(sources()[one.source]["title"])
    return {"text": _(str(one.value)), "source": f"{title}, {one.where}", "unconfirmed": not one.confirmed}


def table_words(run: Run) -> Plain:
    """Return the table of a run as the head of the screen names it, and where it may be extended."""
    table = table_of_run(run)
    if table is None:
        return {"title": "", "standing": "", "extensions": []}
    return {
        "title": table.title, "standing": run.table_standing,
        "extensions": [f"{one.depth_fsw:g}" for one in table.extensions],
    }  # fmt: skip


def units_of_depth() -> dict[str, list[float]]:
    """Return the span of a depth by unit, for the script."""
    return {unit: _span(span) for unit, span in depth_spans().items()}


def words() -> dict[str, str]:
    """Return the texts of the screen's script."""
    return {
        "next": _("Next: {what}"), "none": _("Nothing more is planned"), "no_table": _("No table was chosen for this run"),
        "at": _("at {when}"), "due": _("{span} ago"), "not_left": _("has not left surface"), "left": _("Left surface {when}"),
        "over": _("On surface since {when}"), "depth": _("Depth, {when}"), "no_depth": _("Depth, none logged"),
        "last_depth": _("Last depth logged, {when}"), "surfaced": _("on surface"),
        "nobody_over": _("Nobody writes this log. The run is over; what is added to a closed record needs a reason and counts as late."),
        "reading": _("Next reading in"), "reading_due": _("Reading due since"), "oxygen": _("on oxygen {span}"),
        "break": _("air break {span}"), "off": _("on air"), "out": _("outside"), "on_button": _("On oxygen"),
        "break_button": _("Air break"), "off_button": _("Off oxygen"), "nobody": _("Nobody writes this log yet. The first entry makes this device the writer."),
        "mine": _("This device writes."), "other": _("{who} writes on another device since {when}. You watch."),
        "watch": _("{who} writes."), "take": _("Take over writing"), "take_sure": _("Take over from {who}?"),
        "yes": _("Yes"), "no": _("No, back"), "store": _("Store"), "sure": _("It is right, store"), "cancel": _("Cancel"),
        "who": _("Who"), "depth_field": _("Depth"), "last": _("last {value}, {when}"), "same": _("same"), "planned": _("planned {value}"),
        "time": _("Time"), "now": _("now"), "back1": _("1 min ago"), "back5": _("5 min ago"), "time_help": _("when you opened this; or type 15:08"),
        "remark": _("Remark, nothing about health"), "clinical": _("About health: kept apart, for those who may read it"),
        "clinical_warn": _("Until it is sent, this text stays in this page only. Closing the page loses it."),
        "reason": _("Why"), "reason_surface": _("If readiness does not say ready: why it starts all the same"),
        "missing": _("{label}: missing."), "not_number": _("{label}: “{value}” is not a number. Type it as 12.5 or 12,5."),
        "cannot": _("{label}: {value} {unit} cannot be. Allowed: {least} to {most}."),
        "usual": _("{value} {unit}? {label} is usually {low} to {high}. Read it again, or store it once more."),
        "empty": _("Type at least one value or a few words."), "again_on": _("{who} is on oxygen already. Store once more if it is right."),
        "again_off": _("{who} is not on oxygen. Store once more if it is right."), "twice": _("Press once more to store: {what}"),
        "stored": _("Stored, entry no. {n}: {what}"), "kept": _("Kept here, not sent: {what}"), "undo": _("Undo"), "undone": _("Struck through: {what}"),
        "dropped": _("Taken out before it was sent: {what}"), "not_sent": _("not sent yet"), "rub": _("Rub out"), "point": _("decimal point"),
        "alarm": _("Beyond the limit of the chamber"), "defect": _("Raise a defect"), "near_miss": _("Tell of a near miss"), "now_writes": _("{who} writes the log now."),
        "due_said": _("Reading due"), "handbook": _("What the handbook's tables say. Not advice: the supervisor and the physician decide."),
        "unconfirmed": _("from memory, unconfirmed"), "change": _("Change"), "people": _("Nobody is named as going under pressure. Add the people to the run."),
        "close": _("The record is closed: say why this is added"), "no_line": _("The box does not answer. Try again when it does."),
    }  # fmt: skip
