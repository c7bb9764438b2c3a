"""Water in breathing air: from mg/m3 at 20 °C and 1.01325 bar to ppm and frost point.

Magnus formula over ice with the coefficients of the WMO (WMO-No. 8, annex 4.B), without an
enhancement factor, so at atmospheric pressure.
"""

from math import log

from servicing.filling.pure import gas

MEASURED_C = 20.0
R_WATER_J_PER_KG_K = 461.52
MAGNUS_ICE_PA, MAGNUS_ICE_FACTOR, MAGNUS_ICE_C = 611.2, 22.46, 272.62


def vapour_pressure_pa(water_mg_per_m3: float) -> float:
    """Return the partial pressure in Pa of so much water in a m3 at 20 °C.

    Raises GasQuestion for nothing or less, and for more than fits into air at 0 °C over ice.
    """
    if not 0 < water_mg_per_m3 <= 4500:
        raise gas.GasQuestion(
            f"{water_mg_per_m3:g} mg/m3: give a water content above 0, up to 4500 mg/m3."
        )
    return water_mg_per_m3 * 1e-6 * R_WATER_J_PER_KG_K * (MEASURED_C + gas.ZERO_C_IN_K)


def water_ppm_by_volume(water_mg_per_m3: float) -> float:
    """Return the share of water in parts per million of volume."""
    return vapour_pressure_pa(water_mg_per_m3) / (gas.ATMOSPHERE_BAR * gas.PASCAL_PER_BAR) * 1e6


def frost_point_c(water_mg_per_m3: float) -> float:
    """Return the temperature in °C at which the air, at 1.01325 bar, begins to leave frost."""
    x = log(vapour_pressure_pa(water_mg_per_m3) / MAGNUS_ICE_PA)
    return MAGNUS_ICE_C * x / (MAGNUS_ICE_FACTOR - x)
