"""The laws and rates that a run is computed with, as the plain values that computation takes."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from treatments.compute.atmosphere import Bands
from treatments.compute.conformity import Tolerances
from treatments.compute.demand import AirRule, Atmosphere
from treatments.compute.dose import CnsLimits, Convention, EsotLaw, PulmonaryLaw
from treatments.compute.pressure import Scale
from treatments.compute.segmentation import Settings
from treatments.compute.tender import OxygenRule
from treatments.compute.ventilation import Interruption, Rates
from treatments.compute.waits import WaitRule
from treatments.reference import figures

if TYPE_CHECKING:
    from facility.compute.reference import Sourced

NAVY = "navy"


@lru_cache
def conventions() -> dict[str, Convention]:
    """Return each pressure convention by its key; "navy" is that of the handbook."""
    values = figures("conventions")
    keys = dict.fromkeys(name.split(".")[0] for name in values)
    return {
        key: Convention(
            str(values[f"{key}.title"].value),
            float(values[f"{key}.depth_per_unit"].number),
            float(values[f"{key}.surface"].number),
        )
        for key in keys
    }


def pulmonary(exponent: float | None = None) -> PulmonaryLaw:
    """Return the law of the pulmonary dose; ``exponent`` for one of the other prints."""
    values = figures("dose")
    stated = float(values["pulmonary.exponent"].number)
    return PulmonaryLaw(float(values["pulmonary.threshold"].number), stated if exponent is None else exponent)


@lru_cache
def cns() -> CnsLimits:
    """Return the single-exposure limits of divers at work."""
    return CnsLimits(tuple((float(p), float(m)) for p, m in figures("dose")["cns.limits"].value))


@lru_cache
def esot_law() -> EsotLaw:
    """Return the law of the ESOT index."""
    values = figures("dose")
    return EsotLaw(float(values["esot.exponent"].number), float(values["esot.threshold"].number))


@lru_cache
def rates() -> Rates:
    """Return the ventilation of each person."""
    values = figures("ventilation")
    return Rates(*(_float(values, name) for name in ("air.rest", "air.working", "mask.rest", "mask.working")))


@lru_cache
def interruption() -> Interruption:
    """Return the rule on stopping the ventilation."""
    values = figures("ventilation")
    return Interruption(*(_float(values, f"interruption.{name}") for name in ("longest", "span", "catch_up")))


@lru_cache
def atmosphere() -> Atmosphere:
    """Return one atmosphere of the working rule."""
    values = figures("supply")
    return Atmosphere(_float(values, "atmosphere.fsw"), _float(values, "atmosphere.psi"))


def air_rule(supply: str) -> AirRule:
    """Return the rule of the "primary" or "secondary" air supply. Errors: KeyError for another."""
    values = figures("supply")
    parts = (_float(values, f"air.{supply}.{name}") for name in ("inner", "outer", "ventilation"))
    return AirRule(_float(values, "air.depth"), *parts)


@lru_cache
def bands() -> Bands:
    """Return the temperature bands."""
    values = figures("atmosphere")

    def names(key: str) -> frozenset[str]:
        return frozenset(values[f"temperature.{key}"].value)

    return Bands(
        _float(values, "temperature.intolerable.above"),
        _float(values, "temperature.hot.above"),
        _float(values, "temperature.hot.longest"),
        names("hot.tables"),
        _float(values, "temperature.warm.from"),
        _float(values, "temperature.warm.longest"),
        names("warm.tables"),
        names("all_tables"),
    )


@lru_cache
def tender_rules() -> dict[str, OxygenRule]:
    """Return the oxygen of a tender by table."""
    values = figures("tender")
    tables = dict.fromkeys(name.split(".")[1] for name in values if name.startswith("oxygen."))
    found = {}
    for one in tables:
        previous, ascent = (values.get(f"oxygen.{one}.{name}") for name in ("previous", "ascent"))
        found[one] = OxygenRule(
            _float(values, f"oxygen.{one}.depth"),
            _float(values, f"oxygen.{one}.up_to_one"),
            _float(values, f"oxygen.{one}.more"),
            float(previous.number) if previous is not None else None,
            float(ascent.number) if ascent is not None else None,
        )
    return found


@lru_cache
def look_backs() -> dict[str, float]:
    """Return the hours within which a previous exposure counts, by revision."""
    values = figures("tender")
    return {name.split(".")[1]: float(one.number) for name, one in values.items() if name.startswith("look_back.")}


@lru_cache
def wait_rules() -> tuple[WaitRule, ...]:
    """Return every wait of both revisions."""
    values = figures("waits")
    found = []
    for name, one in values.items():
        path = name.split(".")
        if path[-1] == "hours":
            tables = frozenset(values[".".join([*path[:-1], "tables"])].value)
            found.append(WaitRule(path[0], path[1], path[2], float(one.number), tables, one.meaning))
    return tuple(found)


@lru_cache
def scales() -> dict[str, Scale]:
    """Return the scales of sea water against pressure by what they are called."""
    values = figures("pressure")
    msw, psi, atm = (values[name].number for name in ("msw", "psi", "atm"))
    feet: dict[str, Decimal] = {
        "1 msw = 3.2646 fsw": msw / values["fsw_per_msw"].number,
        "33 fsw = 1 ata": atm / values["fsw_per_atm_working"].number,
        "33.08 fsw = 1 atm": atm / values["fsw_per_atm_standard"].number,
    }
    return {name: Scale(fsw, msw, psi, atm) for name, fsw in feet.items()}


def _float(values: dict[str, Sourced], name: str) -> float:
    return float(values[name].number)


def tolerances() -> Tolerances:
    """Return the tolerances of a log against its plan that a site starts with."""
    values = figures("conformity")
    names = ("depth", "stop", "oxygen_start", "oxygen", "break", "rate", "descent_rate")
    return Tolerances(*(_float(values, name) for name in names))


@lru_cache
def segmentation() -> Settings:
    """Return how a recorded profile is cut."""
    values = figures("segmentation")
    return Settings(
        *(_float(values, name) for name in ("gap", "bin", "tolerance", "hold_rate", "same_depth", "shortest"))
    )
