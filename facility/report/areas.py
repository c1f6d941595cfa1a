"""The areas of a report: which kinds of equipment belong to each, in the order of reading."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop

from maintenance.models import EquipmentKind as K

#: the area of banks, and of what is wrong with one
GAS: Final = "gas"
#: area -> its title, its kinds of equipment
PLANT: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "vessels": (gettext_noop("Vessels, windows, doors and valves"), (K.VESSEL, K.VIEWPORT, K.DOOR_SEAL, K.RELIEF_VALVE, K.VALVE)),
    "gauges": (gettext_noop("Gauges, clocks and analysers"), (K.DEPTH_GAUGE, K.PRESSURE_GAUGE, K.CLOCK, K.ANALYSER, K.THERMOMETER)),
    "fire": (gettext_noop("Fire protection"), (K.FIRE,)),
    "gas": (gettext_noop("Gas and air"), (K.COMPRESSOR, K.STORE, K.HOSE, K.REGULATOR, K.MASK)),
    "electrical": (gettext_noop("Electrical, communication and alarms"), (K.ELECTRICAL, K.COMMUNICATION, K.ALARM)),
    "other": (gettext_noop("Medical kit and other equipment"), (K.MEDICAL_KIT, K.OTHER)),
}  # fmt: skip
