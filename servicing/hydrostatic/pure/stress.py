"""Wall stress and the most that a wall may bear."""

from dataclasses import dataclass
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Number, Pressure

WALL_STRESS = "49 CFR 178.37(f)(3), 178.44(f)(2), 178.46(d)"
CAP_3AA_PSI = 70_000
THIN_3AA_PSI = 24_000
CAP_3HT_PSI = 105_000
YIELD_3AL_PSI, TENSILE_3AL_PSI = 35_000, 38_000
"""The least strengths of alloy 6061-T6 (178.46, Table 2)."""


def wall_stress_psi(pressure: Pressure, outside_in: Number, inside_in: Number) -> Fraction:
    """Return S = P (1.3 D^2 + 0.4 d^2) / (D^2 - d^2) in psi (178.37(f)(3)); D, d in inches.

    Raises HydroProblem where there is no wall between the two diameters.
    """
    outer, inner = Fraction(outside_in), Fraction(inside_in)
    if not 0 < inner < outer:
        raise HydroProblem("The inside diameter lies between 0 and the outside one; check both.")
    squares = Fraction("1.3") * outer**2 + Fraction("0.4") * inner**2
    return pressure.psi * squares / (outer**2 - inner**2)


def stress_cap_3aa_psi(service: Pressure, least_tensile_psi: Number) -> Fraction:
    """Return the most a 3AA wall may bear at test pressure, in psi (178.37(f)(1)-(2)).

    Under 900 psig of service pressure 24 000; from there 67 % of the least tensile strength
    and 70 000 at most.
    """
    if service.psi < 900:
        return Fraction(THIN_3AA_PSI)
    return min(Fraction(least_tensile_psi) * 67 / 100, Fraction(CAP_3AA_PSI))


def stress_cap_3al_psi(
    least_yield_psi: Number = YIELD_3AL_PSI, least_tensile_psi: Number = TENSILE_3AL_PSI
) -> Fraction:
    """Return the most a 3AL wall may bear at test pressure, in psi (178.46(d)).

    80 % of the least yield and 67 % of the least tensile strength, whichever is less; those of
    6061-T6 unless others are given.
    """
    return min(Fraction(least_yield_psi) * 80 / 100, Fraction(least_tensile_psi) * 67 / 100)


def stress_cap_3ht_psi(least_tensile_psi: Number) -> Fraction:
    """Return the most a 3HT wall may bear at test pressure, in psi (178.44(f)).

    75 % of the least tensile strength and 105 000 at most.
    """
    return min(Fraction(least_tensile_psi) * 75 / 100, Fraction(CAP_3HT_PSI))


STRESS_CAPPED = ("DOT-3AA", "DOT-3AL", "DOT-3HT")


@dataclass(frozen=True, slots=True)
class StressCap:
    """The most a wall may bear at test pressure, in psi, and by which paragraph."""

    psi: Fraction
    clause: str


def stress_cap(
    specification: str, service: Pressure | None, tensile: Number | None, yields: Number | None
) -> StressCap:
    """Return the cap of one of `STRESS_CAPPED`, from the least strengths in psi.

    A 3AL without strengths is taken as 6061-T6. Raises HydroProblem for another specification,
    and where the service pressure of a 3AA or the strength of a steel isn't given.
    """
    if specification == "DOT-3AL":
        strengths = (yields or YIELD_3AL_PSI, tensile or TENSILE_3AL_PSI)
        return StressCap(stress_cap_3al_psi(*strengths), "178.46(d)")
    if specification not in STRESS_CAPPED:
        raise HydroProblem(f"No cap is known here but for {', '.join(STRESS_CAPPED)}.")
    if not tensile:
        raise HydroProblem(f"Give the least tensile strength of the steel of the {specification}.")
    if specification == "DOT-3HT":
        return StressCap(stress_cap_3ht_psi(tensile), "178.44(f)")
    if service is None:
        raise HydroProblem("Give the service pressure: the cap of a 3AA hangs on it.")
    return StressCap(stress_cap_3aa_psi(service, tensile), "178.37(f)(1)-(2)")


def rejection_expansion_3ht_ml(original_elastic_ml: Number) -> Fraction:
    """Return the REE of a 3HT cylinder: 1.05 times the original EE (49 CFR 178.44(r)(2))."""
    return Fraction(original_elastic_ml) * Fraction(105, 100)
