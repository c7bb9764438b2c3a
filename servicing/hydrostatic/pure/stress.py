"""Wall stress, what it allows, and how far a sound wall should give way."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Number, Pressure, exact

WALL_STRESS = "49 CFR 178.37(f)(3), 178.44(f)(2), 178.46(d)"
CAP_3AA_PSI = 70_000
THIN_3AA_PSI = 24_000
CAP_3HT_PSI = 105_000
YIELD_3AL_PSI, TENSILE_3AL_PSI = 35_000, 38_000
"""The least strengths of alloy 6061-T6 (178.46, Table 2)."""
CC_PER_CUBIC_INCH = Fraction("16.387064")
"""Exact: the inch is 2.54 cm."""
LB_PER_LITRE = Decimal("2.20462")
"""Water taken as 1 kg a litre; the pound is 0.45359237 kg."""
PI = Fraction("3.14159265358979323846")


@dataclass(frozen=True, slots=True)
class PlusLimit:
    """Wall stress in psi up to which a cylinder may carry the plus mark, by its steel.

    The text of 173.302a(b)(3) was not read. The US Air Force's manual on shipping by air
    (AFMAN 24-604, figure A3.2) repeats its table; a diving forum quotes the line of 3AA alike.
    `carbon`: over 0.35 % carbon. `carbon-old`: less carbon, made before 1920.
    """

    steel: str
    average_psi: int
    maximum_psi: int
    seen: str


PLUS_LIMITS = (
    PlusLimit("carbon", 53_000, 58_000, "secondary"),
    PlusLimit("medium-manganese", 53_000, 58_000, "secondary"),
    PlusLimit("carbon-old", 45_000, 48_000, "secondary"),
    PlusLimit("alloy-3AA", 67_000, 73_000, "secondary"),
    PlusLimit("alloy-3T", 87_000, 94_000, "secondary"),
)


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


def plus_allowed(steel: str, average_psi: Number, maximum_psi: Number) -> bool:
    """Say whether the wall stresses allow the plus mark: the average or the maximum is kept.

    Raises HydroProblem for a steel without a limit: aluminium and composites never carry it.
    """
    for limit in PLUS_LIMITS:
        if limit.steel == steel:
            return average_psi <= limit.average_psi or maximum_psi <= limit.maximum_psi
    known = ", ".join(limit.steel for limit in PLUS_LIMITS)
    raise HydroProblem(f"{steel!r} has no plus limit; only steel has one: {known}.")


PLUS_SPECIFICATIONS = ("DOT-3A", "DOT-3AX", "DOT-3AA", "DOT-3AAX", "DOT-3T")


def plus_refusals(
    specification: str,
    *,
    stress_kept: bool | None,
    elastic_ml: Number | None,
    ree_ml: Number | None,
) -> tuple[str, ...]:
    """Return why a steel cylinder may not carry the plus mark (fill to 110 %); empty if it may.

    stress_kept: the answer of `plus_allowed`; None where the stress is not known. The mark is
    renewed at each test (49 CFR 180.213(f)(3); letters 13-0042, 14-0063 [text]); the stress is
    that of 173.302a(b) as `PLUS_LIMITS` has it [secondary], the elastic limit from memory. Not
    asked here: the frangible disc that goes with it, bursting at test pressure at the most.
    """
    known = elastic_ml is not None and ree_ml is not None
    asked = (
        (specification in PLUS_SPECIFICATIONS, "only 3A, 3AX, 3AA, 3AAX and 3T carry it [text]"),
        (stress_kept is True, "the wall stress must be known and within its limit [secondary]"),
        (known, "the elastic expansion and its limit (REE) must be known [memory]"),
        (
            elastic_ml is None or ree_ml is None or elastic_ml <= ree_ml,
            "the elastic expansion is over its limit (REE) [memory]",
        ),
    )
    return tuple(says for met, says in asked if not met)


def rejection_expansion_3ht_ml(original_elastic_ml: Number) -> Fraction:
    """Return the REE of a 3HT cylinder: 1.05 times the original EE (49 CFR 178.44(r)(2))."""
    return Fraction(original_elastic_ml) * Fraction(105, 100)


@dataclass(frozen=True, slots=True)
class Wall:
    """A cylinder as thick-wall theory sees it: inches, psi, and Poisson's ratio."""

    outside_in: Fraction
    wall_in: Fraction
    length_in: Fraction
    modulus_psi: Fraction
    poisson: Fraction

    @property
    def external_ml(self) -> Fraction:
        """The volume of the outside, a plain cylinder, in mL."""
        return PI / 4 * self.outside_in**2 * self.length_in * CC_PER_CUBIC_INCH


def wall(
    *,
    outside_in: Number,
    wall_in: Number,
    length_in: Number,
    modulus_psi: Number,
    poisson: Number,
) -> Wall:
    """Return a wall from plain numbers. Raises HydroProblem where it is thicker than half."""
    made = Wall(*exact(outside_in, wall_in, length_in, modulus_psi, poisson))
    if not 0 < 2 * made.wall_in < made.outside_in:
        raise HydroProblem("Twice the wall is less than the outside diameter; check both.")
    return made


def likely_elastic_ml(wall: Wall, pressure: Pressure) -> Fraction:
    """Return about how far a sound cylinder gives way in a jacket, in mL; plausibility only.

    EE = V P (5 - 4 v) / (E (k^2 - 1)), k = D/d: thick-wall theory with closed ends, from a
    textbook, from memory; the ends are left out. No verdict rests on it.
    """
    ratio = wall.outside_in / (wall.outside_in - 2 * wall.wall_in)
    spring = wall.modulus_psi * (ratio**2 - 1)
    return wall.external_ml * pressure.psi * (5 - 4 * wall.poisson) / spring


@dataclass(frozen=True, slots=True)
class StarFacts:
    """What the ten-year star asks about. None: not known, which counts as not met."""

    specification: str
    water_capacity_lb: Decimal | None
    made_year: int | None
    listed_dry_gas: bool
    underwater: bool
    hammer_test: bool
    dried_after_test: bool
    out_of_clusters: bool


def star_refusals(facts: StarFacts) -> tuple[str, ...]:
    """Return why a cylinder may not carry the star; empty where it may.

    49 CFR 180.209(b)(1) by letter 16-0147 (2017-03-03) [text]; size, age, gases and diving
    from memory.
    """
    capacity, year = facts.water_capacity_lb, facts.made_year
    asked = (
        (facts.specification in ("DOT-3A", "DOT-3AA"), "only 3A and 3AA carry it [text]"),
        (facts.hammer_test, "a hammer test comes before each filling [text]"),
        (facts.dried_after_test, "it is dried straight after the hydrostatic test [text]"),
        (facts.out_of_clusters, "it is taken out of any cluster to be filled [text]"),
        (capacity is not None and capacity <= 125, "125 lb of water at most [memory]"),
        (year is not None and year > 1945, "made after 1945 [memory]"),
        (facts.listed_dry_gas, "only listed clean and dry gases [memory]"),
        (not facts.underwater, "not for breathing under water [memory]"),
    )
    return tuple(says for met, says in asked if not met)
