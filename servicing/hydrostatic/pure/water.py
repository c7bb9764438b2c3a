"""How much water shrinks under pressure: what a direct expansion test has to take off.

Two answers stand side by side. The product's own is a fit to the equation of state IAPWS-95;
the other is the form printed in handbooks. The density at 0 bar and the secant bulk modulus K
are polynomials in the temperature t (degC) and the gauge pressure p (bar):

    rho_0 = a0 + a1 t + ... + a5 t^5                                    kg/m3
    K     = (b0 + ... + b4 t^4) + p (c0 + ... + c3 t^3) + p^2 (d0 + d1 t)     bar
    1 - rho_0 / rho_p = p / K

The form is that of the international equation of state of seawater (UNESCO technical papers
in marine science 44, 1983); the figures are our own least squares fit, made with CoolProp 8.0.0
over 4 to 40 degC in steps of 0.5 and 0 to 700 bar in steps of 10, atmosphere 1.01325 bar.
Largest difference from IAPWS-95 there: 0.0004 cm3 per litre of water in the shrinkage and
0.0002 kg/m3 in the density. `tests/published/test_hydrostatic_water.py` holds both bounds
against two independent libraries.
"""

from collections.abc import Sequence
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Number, figure_text

COLDEST_C, WARMEST_C, HIGHEST_BAR = 4, 40, 700
HANDBOOK_COLDEST_C, HANDBOOK_WARMEST_C = 6, 26


def _fractions(*texts: str) -> tuple[Fraction, ...]:
    return tuple(map(Fraction, texts))


_RHO = _fractions(
    "9.99845332e2",
    "6.66829957e-2",
    "-8.91331018e-3",
    "9.00123011e-5",
    "-8.81728388e-7",
    "4.50713725e-9",
)
_K0 = _fractions("1.965805e4", "1.471406e2", "-2.228864", "1.069615e-2", "-2.155257e-5")
_K1 = _fractions("3.283006", "-4.287748e-3", "3.222096e-4", "-2.842493e-6")
_K2 = _fractions("4.601138e-5", "-3.256762e-6")

# Factor K of the handbook form by whole degC from 6; from memory (facts, table 7d).
_HANDBOOK_K = _fractions(
    "0.04915",
    "0.04886",
    "0.04860",
    "0.04834",
    "0.04812",
    "0.04792",
    "0.04775",
    "0.04759",
    "0.04742",
    "0.04725",
    "0.04710",
    "0.04695",
    "0.04680",
    "0.04668",
    "0.04654",
    "0.04643",
    "0.04633",
    "0.04623",
    "0.04613",
    "0.04604",
    "0.04594",
)


def density_kg_m3(temperature_c: Number) -> Fraction:
    """Return the density of water at 0 bar gauge, in kg/m3, 4 to 40 degC (fit to IAPWS-95)."""
    _check(temperature_c, 0)
    return _polynomial(_RHO, Fraction(temperature_c))


def shrinkage_ml_per_l(temperature_c: Number, pressure_bar: Number) -> Fraction:
    """Return by how many cm3 a litre of water at 0 bar shrinks, 1000 (1 - rho_0 / rho_p).

    Raises HydroProblem outside 4 to 40 degC and 0 to 700 bar gauge.
    """
    _check(temperature_c, pressure_bar)
    t, p = Fraction(temperature_c), Fraction(pressure_bar)
    modulus = _polynomial(_K0, t) + p * _polynomial(_K1, t) + p * p * _polynomial(_K2, t)
    return 1000 * p / modulus


def extra_ml_per_l(temperature_c: Number, pressure_bar: Number) -> Fraction:
    """Return the water, in cm3 at 0 bar, that brings a rigid litre of it to a pressure.

    1000 (rho_p / rho_0 - 1). Raises HydroProblem outside 4 to 40 degC and 0 to 700 bar gauge.
    """
    shrunk = shrinkage_ml_per_l(temperature_c, pressure_bar) / 1000
    return 1000 * shrunk / (1 - shrunk)


def compression_ml(water_kg: Number, temperature_c: Number, pressure_bar: Number) -> Fraction:
    """Return the correction C for the water in the cylinder, in cm3, by our fit to IAPWS-95.

    water_kg: all the water in the cylinder at test pressure. C = W (1/rho_0 - 1/rho_p): exact
    by balance of mass. Raises HydroProblem outside 4 to 40 degC and 0 to 700 bar gauge.
    """
    litres = Fraction(water_kg) * 1000 / density_kg_m3(temperature_c)
    return litres * shrinkage_ml_per_l(temperature_c, pressure_bar)


def handbook_k(temperature_c: Number) -> Fraction:
    """Return the factor K of the handbook form at 6 to 26 degC, straight between whole degrees.

    The table is from memory. Raises HydroProblem outside of it.
    """
    t = Fraction(temperature_c)
    if not HANDBOOK_COLDEST_C <= t <= HANDBOOK_WARMEST_C:
        raise HydroProblem(
            f"The handbook's table goes from {HANDBOOK_COLDEST_C} to {HANDBOOK_WARMEST_C} °C; "
            "bring the water there."
        )
    whole = min(int(t), HANDBOOK_WARMEST_C - 1)
    low, high = _HANDBOOK_K[whole - HANDBOOK_COLDEST_C : whole - HANDBOOK_COLDEST_C + 2]
    return low + (t - whole) * (high - low)


def handbook_compression_ml(
    water_kg: Number, temperature_c: Number, pressure_bar: Number
) -> Fraction:
    """Return the correction C in the handbook's form, in cm3: W P (K - 0.68 P / 100 000).

    water_kg: all the water in the cylinder at test pressure; P in bar gauge. The form is from
    memory; it lies 0.8 to 1.4 % above IAPWS-95, so that it makes the permanent share larger.
    """
    p = Fraction(pressure_bar)
    if not 0 <= p <= HIGHEST_BAR:
        raise HydroProblem(f"The pressure must lie between 0 and {HIGHEST_BAR} bar.")
    return Fraction(water_kg) * p * (handbook_k(temperature_c) - Fraction("0.68") * p / 100_000)


def in_handbook(temperature_c: Number) -> bool:
    """Say whether the handbook's table reaches to a temperature in degC."""
    return HANDBOOK_COLDEST_C <= temperature_c <= HANDBOOK_WARMEST_C


def _check(temperature_c: Number, pressure_bar: Number) -> None:
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise HydroProblem(
            f"The water must be between {COLDEST_C} and {WARMEST_C} °C, "
            f"not at {figure_text(temperature_c, 2)}."
        )
    if not 0 <= pressure_bar <= HIGHEST_BAR:
        raise HydroProblem(f"The pressure must lie between 0 and {HIGHEST_BAR} bar.")


def _polynomial(factors: Sequence[Fraction], x: Fraction) -> Fraction:
    total = Fraction(0)
    for factor in reversed(factors):
        total = total * x + factor
    return total
