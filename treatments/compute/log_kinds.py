"""What each kind of log entry tells: about whom, at which depth, with which values, and when it makes sense.

Kinds are named as treatments.models.LogKind names them. Texts are English here and translated where they are shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


def _(text: str) -> str:
    return text


class Asked(StrEnum):
    """Whether an entry tells something."""

    NEEDED = "needed"
    MAY = "may"
    NO = "no"


class During(StrEnum):
    """When in a run an entry makes sense."""

    ALWAYS = "always"
    UNDER_PRESSURE = "under pressure"


class Form(StrEnum):
    """How a value is written."""

    NUMBER = "number"
    WHOLE = "whole"
    CHOICE = "choice"


@dataclass(frozen=True, slots=True)
class Value:
    """One value of an entry. ``unit`` is printed beside it; ``choices``: key and words."""

    key: str
    label: str
    unit: str = ""
    form: Form = Form.NUMBER
    choices: tuple[tuple[str, str], ...] = ()
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Kind:
    """What an entry of one kind tells. ``clinical``: it may carry a text about health, which is kept apart.

    ``some``: it says nothing unless a depth, a value or a text stands in it.
    ``twice``: a second look is asked for on the screen, since it cannot be taken back by a slip.
    """

    key: str
    occupant: Asked = Asked.NO
    depth: Asked = Asked.NO
    values: tuple[Value, ...] = ()
    during: During = During.UNDER_PRESSURE
    clinical: bool = False
    some: bool = False
    twice: bool = False

    def value(self, key: str) -> Value | None:
        """Return one value by its key."""
        return next((one for one in self.values if one.key == key), None)


BANK_UNITS = (("bar", "bar"), ("psi", "psi"), ("kPa", "kPa"), ("MPa", "MPa"))
#: words of the trade's handbooks for what is watched for; the text beside them is the physician's
SYMPTOMS = (
    ("pain", _("pain")), ("numbness", _("numbness or tingling")), ("weakness", _("weakness")),
    ("dizziness", _("dizziness")), ("vision", _("trouble seeing")), ("hearing", _("trouble hearing")),
    ("breathing", _("trouble breathing")), ("unconscious", _("not conscious")), ("skin", _("skin marks or itching")),
    ("ears", _("ears or sinuses")), ("better", _("better")), ("worse", _("worse")), ("other", _("other")),
)  # fmt: skip
TOXICITY = (
    ("vision", _("vision")), ("ears", _("ears")), ("nausea", _("nausea")), ("twitching", _("twitching")),
    ("irritability", _("irritability")), ("dizziness", _("dizziness")), ("convulsion", _("convulsion")),
    ("lungs", _("lungs: cough or burning")), ("other", _("other")),
)  # fmt: skip
EXAMINATIONS = (("short", _("short examination")), ("full", _("full examination")))
OUTCOMES = (
    ("relieved", _("complete relief")), ("residual", _("some symptoms remain")), ("unchanged", _("unchanged")),
    ("worse", _("worse")), ("none", _("no treatment: training or test")),
)  # fmt: skip
ROUTES = (("mouth", _("by mouth")), ("vein", _("into a vein")), ("urine", _("urine")), ("other", _("other")))

_READINGS = (
    Value("o2_percent", _("oxygen in the chamber"), "%"),
    Value("co2_percent", _("carbon dioxide, surface equivalent"), "%"),
    Value("temperature_c", _("temperature"), "°C"),
    Value("humidity_percent", _("humidity"), "%"),
    Value("ventilation_acfm", _("ventilation"), "acfm"),
    Value("bank_pressure", _("oxygen bank"), ""),
    Value("bank_unit", _("unit of the bank's gauge"), form=Form.CHOICE, choices=BANK_UNITS),
)
_AMOUNT = (Value("amount_ml", _("amount"), "mL"), Value("code", _("how"), form=Form.CHOICE, choices=ROUTES))
_ONE, _MAY, _NO = Asked.NEEDED, Asked.MAY, Asked.NO
_ANY = During.ALWAYS


def _code(label: str, choices: tuple[tuple[str, str], ...], *, needed: bool = False) -> tuple[Value, ...]:
    return (Value("code", label, form=Form.CHOICE, choices=choices, needed=needed),)


_EXTENSION = (
    Value("extension_depth_fsw", _("at the stop of"), "fsw", needed=True),
    Value("extension_count", _("how many"), "", Form.WHOLE, needed=True),
)

KINDS: dict[str, Kind] = {
    kind.key: kind
    for kind in (
        Kind("left_surface", during=_ANY, twice=True),
        Kind("reached_depth", depth=_ONE),
        Kind("left_depth", depth=_MAY),
        Kind("reached_stop", depth=_ONE),
        Kind("left_stop", depth=_MAY),
        Kind("reached_surface", twice=True),
        Kind("reading", depth=_MAY, values=_READINGS, during=_ANY, some=True),
        Kind("oxygen_on", occupant=_ONE),
        Kind("oxygen_off", occupant=_ONE),
        Kind("air_break", occupant=_ONE),
        Kind("lock_in", occupant=_ONE, depth=_MAY),
        Kind("lock_out", occupant=_ONE, depth=_MAY),
        Kind("extension", values=_EXTENSION, twice=True),
        Kind("symptom", _ONE, values=_code(_("what"), SYMPTOMS), during=_ANY, clinical=True, some=True),
        Kind("relief", _ONE, _MAY, _code(_("of what"), SYMPTOMS), clinical=True),
        Kind("examination", _ONE, values=_code(_("which"), EXAMINATIONS), during=_ANY, clinical=True),
        Kind("outcome", _ONE, values=_code(_("outcome"), OUTCOMES, needed=True), during=_ANY, clinical=True),
        Kind("drug", _ONE, during=_ANY, clinical=True, some=True),
        Kind("fluid_in", _ONE, values=_AMOUNT, during=_ANY, clinical=True),
        Kind("fluid_out", _ONE, values=_AMOUNT, during=_ANY, clinical=True),
        Kind("ventilation", values=(Value("ventilation_acfm", _("ventilation"), "acfm", needed=True),), during=_ANY),
        Kind("communication_lost", _MAY),
        Kind("communication_back", _MAY),
        Kind("oxygen_toxicity", _ONE, values=_code(_("sign"), TOXICITY, needed=True), clinical=True),
        Kind("oxygen_lost", _MAY),
        Kind("oxygen_back", _MAY),
        Kind("note", _MAY, during=_ANY, some=True),
    )
}
