"""Every sort of work by its key, and which one an item most likely asks for."""

from __future__ import annotations

from maintenance.models import EquipmentKind, WorkKind
from maintenance.working import kinds_fire, kinds_general, kinds_power, kinds_pressure, kinds_viewport
from maintenance.working.kinds import KindOfWork

KINDS: dict[str, KindOfWork] = {
    kind.key: kind
    for kind in (
        kinds_general.INSPECTION, kinds_general.FUNCTION, kinds_pressure.HOLD, kinds_pressure.RELIEF,
        kinds_general.REPLACEMENT, kinds_general.OXYGEN_CLEANING, kinds_viewport.VIEWPORT, kinds_fire.FIRE_WATER,
        kinds_fire.DELUGE, kinds_fire.HAND_LINE, kinds_fire.EXTINGUISHER, kinds_power.GENERATOR, kinds_power.BATTERY,
        kinds_power.SET_POINT, kinds_pressure.HOSE, kinds_pressure.REQUALIFICATION, kinds_general.EXPIRY,
        kinds_power.ANALYSER, kinds_general.CALIBRATION, kinds_general.RETURN_TEST, kinds_general.OTHER,
    )
}  # fmt: skip

#: kinds that have a page of their own: the return test ends a defect, a calibration has its points
ELSEWHERE = (WorkKind.RETURN_TEST, WorkKind.CALIBRATION)
#: words in the name of an act that tell its sort, in this order
_WORDS = (
    ("hold", "hold_test"), ("drop", "hold_test"), ("leak", "hold_test"), ("relief", "relief_valve"), ("deluge", "deluge"),
    ("hand line", "hand_line"), ("hand-line", "hand_line"), ("extinguisher", "extinguisher"), ("generator", "generator"),
    ("battery", "battery"), ("set-point", "set_point"), ("hose", "hose"), ("requalif", "requalification"),
    ("expiry", "expiry"), ("analyser", "analyser"), ("clean", "oxygen_cleaning"), ("replace", "replacement"),
    ("function", "function_test"), ("inspect", "inspection"), ("look", "inspection"),
)  # fmt: skip


def offered(equipment_kind: str) -> list[tuple[str, str]]:
    """Return key and words of the sorts of work that a form offers, the likely ones of this sort of item first."""
    words = {key: str(WorkKind(key).label) for key in KINDS if key not in ELSEWHERE}
    likely = [key for key in words if equipment_kind in KINDS[key].equipment]
    return [(key, words[key]) for key in (*likely, *(key for key in words if key not in likely))]


def guessed(act: str, equipment_kind: str) -> str:
    """Return the sort of work that an act's name, or else the item, most likely means."""
    lowered = act.lower()
    for word, key in _WORDS:
        if word in lowered and not (key == "inspection" and equipment_kind == EquipmentKind.VIEWPORT):
            return key
    likely = [key for key, kind in KINDS.items() if equipment_kind in kind.equipment]
    return likely[0] if len(likely) == 1 else str(WorkKind.OTHER)
