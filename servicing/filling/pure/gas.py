"""Dry air as a real gas: the one place that asks CoolProp.

Pressures are gauge pressures in bar, as a cylinder's gauge shows them; absolute is gauge
plus 1.01325 bar. Temperatures are in degrees Celsius and mean the gas, not the room.
"""

from functools import lru_cache
from importlib import import_module
from math import isfinite
from typing import Any

ATMOSPHERE_BAR = 1.01325
ZERO_C_IN_K = 273.15
PASCAL_PER_BAR = 1e5
LOWEST_C, HIGHEST_C = -60.0, 120.0
HIGHEST_BAR = 2000.0
R_DRY_AIR_J_PER_KG_K = 8.31451 / 0.02896546
"""Specific gas constant of dry air, with the two figures of the equation of state itself."""


class GasQuestion(ValueError):
    """A pressure, temperature or volume that no cylinder has; the text says what is meant."""


def density_kg_per_m3(gauge_bar: float, at_c: float) -> float:
    """Return the density of dry air at a gauge pressure in bar and a temperature in °C.

    By CoolProp's equation of state for air (E. W. Lemmon and others, 2000). Raises
    GasQuestion outside 0 to 2000 bar and -60 to 120 °C.
    """
    _check(gauge_bar, at_c)
    return _density(gauge_bar, at_c)


def gauge_bar_at(density_kg_per_m3: float, at_c: float) -> float:
    """Return the gauge pressure in bar of dry air of a density at a temperature in °C.

    A vessel that holds less than the air around it has a gauge pressure below 0.
    """
    _check(0, at_c)
    kelvin = at_c + ZERO_C_IN_K
    pascal: float = _coolprop().PropsSI("P", "T", kelvin, "D", density_kg_per_m3, "Air")
    return pascal / PASCAL_PER_BAR - ATMOSPHERE_BAR


def compressibility(gauge_bar: float, at_c: float) -> float:
    """Return Z, the ratio of p/(rho R T) to that of the ideal gas, without unit."""
    pascal = (gauge_bar + ATMOSPHERE_BAR) * PASCAL_PER_BAR
    ideal = pascal / (R_DRY_AIR_J_PER_KG_K * (at_c + ZERO_C_IN_K))
    return ideal / density_kg_per_m3(gauge_bar, at_c)


@lru_cache(maxsize=4096)
def _density(gauge_bar: float, at_c: float) -> float:
    pascal = (gauge_bar + ATMOSPHERE_BAR) * PASCAL_PER_BAR
    found: float = _coolprop().PropsSI("D", "T", at_c + ZERO_C_IN_K, "P", pascal, "Air")
    return found


@lru_cache(maxsize=1)
def _coolprop() -> Any:
    """Load CoolProp when it is first needed: that takes more than a second."""
    return import_module("CoolProp.CoolProp")


def _check(gauge_bar: float, at_c: float) -> None:
    if not (isfinite(at_c) and LOWEST_C <= at_c <= HIGHEST_C):
        raise GasQuestion(f"{at_c:g} °C: give a temperature from -60 to 120 °C.")
    if not (isfinite(gauge_bar) and 0 <= gauge_bar <= HIGHEST_BAR):
        raise GasQuestion(f"{gauge_bar:g} bar: give a gauge pressure from 0 to 2000 bar.")
