"""The star (ten years) and the plus (110 % of service pressure): what a cylinder needs for them.

Neither moves a date or a filling here: the ten years count where the register has the mark
`star` (us-cyl-3a-3aa-star), and nobody is given 110 %. Each reason says how it was checked.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Number, Pressure

LB_PER_LITRE = Decimal("2.20462")
"""Water taken as 1 kg a litre; the pound is 0.45359237 kg."""
PLUS_SPECIFICATIONS = ("DOT-3A", "DOT-3AX", "DOT-3AA", "DOT-3AAX", "DOT-3T")
STAR_SPECIFICATIONS = ("DOT-3A", "DOT-3AA", "ICC-3A", "ICC-3AA", "CTC-3A", "CTC-3AA")
"""Those of the row us-cyl-3a-3aa-star."""
Asked = tuple[bool | None, str]
"""Whether something asked for is met (None: not known), and what is asked."""


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


def plus_allowed(steel: str, average_psi: Number, maximum_psi: Number | None = None) -> bool:
    """Say whether the wall stresses allow the plus mark: the average or the maximum is kept.

    maximum_psi: None where only the average is known. Raises HydroProblem for a steel without a
    limit: aluminium and composites never carry it.
    """
    for limit in PLUS_LIMITS:
        if limit.steel == steel:
            below = maximum_psi is not None and maximum_psi <= limit.maximum_psi
            return average_psi <= limit.average_psi or below
    known = ", ".join(limit.steel for limit in PLUS_LIMITS)
    raise HydroProblem(f"{steel!r} has no plus limit; only steel has one: {known}.")


def plus_asked(
    specification: str,
    *,
    stress_kept: bool | None,
    elastic_ml: Number | None,
    ree_ml: Number | None,
) -> tuple[Asked, ...]:
    """Return what the plus mark (fill to 110 %) asks for, and whether it is met.

    stress_kept: the answer of `plus_allowed`; None where the stress is not known.

    The mark is renewed at each test (49 CFR 180.213(f)(3); letters 13-0042, 14-0063 [text]); the
    stress is that of 173.302a(b) as `PLUS_LIMITS` has it [secondary], the elastic limit from
    memory. Not asked here: the frangible disc that goes with it, bursting at test pressure at
    the most.
    """
    within = None if elastic_ml is None or ree_ml is None else elastic_ml <= ree_ml
    return (
        (specification in PLUS_SPECIFICATIONS, "it is a 3A, 3AX, 3AA, 3AAX or 3T [text]"),
        (stress_kept, "the wall stress is within its limit [secondary]"),
        (within, "the elastic expansion is within its limit (REE) [memory]"),
    )


def plus_fill_pressure(service: Pressure) -> Pressure:
    """Return the fill of a plus-marked cylinder: 110 % of service pressure (180.213(f)(3))."""
    return service.times(Fraction(11, 10))


@dataclass(frozen=True, slots=True)
class StarFacts:
    """What the ten-year star asks about. None: not known."""

    specification: str
    water_capacity_lb: Decimal | None
    made_year: int | None
    listed_dry_gas: bool | None = None
    underwater: bool | None = None
    hammer_test: bool | None = None
    dried_after_test: bool | None = None
    out_of_clusters: bool | None = None


def star_asked(facts: StarFacts) -> tuple[Asked, ...]:
    """Return what the star asks for, and whether it is met.

    49 CFR 180.209(b)(1) by letter 16-0147 (2017-03-03) [text]; size, age, gases and diving
    from memory.
    """
    capacity, year, diving = facts.water_capacity_lb, facts.made_year, facts.underwater
    listed = facts.specification in STAR_SPECIFICATIONS
    return (
        (listed, "it is a 3A or 3AA [text]"),
        (facts.hammer_test, "a hammer test comes before each filling [text]"),
        (facts.dried_after_test, "it is dried straight after the hydrostatic test [text]"),
        (facts.out_of_clusters, "it is taken out of any cluster to be filled [text]"),
        (
            None if capacity is None else capacity <= 125,
            "it holds 125 lb of water at most [memory]",
        ),
        (None if year is None else year > 1945, "it was made after 1945 [memory]"),
        (facts.listed_dry_gas, "only listed clean and dry gases are filled [memory]"),
        (None if diving is None else not diving, "nobody breathes from it under water [memory]"),
    )


@dataclass(frozen=True, slots=True)
class Suffix:
    """What stands of a mark behind a test's date. barred: why it may not be there.

    to_know: what the register does not know and whoever marks or fills has to. carried: the
    register has the mark.
    """

    named: str
    barred: tuple[str, ...]
    to_know: tuple[str, ...]
    carried: bool

    @property
    def says(self) -> str:
        """Whether it is allowed, in one line with the reasons."""
        if self.barred:
            here = "; the register has this mark: look at the cylinder, and correct one of them"
            why = "; ".join(self.barred)
            return f"not allowed, for it is not so that {why}{here if self.carried else ''}"
        if self.to_know:
            return f"allowed only where somebody knows that {'; '.join(self.to_know)}"
        return "allowed: nothing stands against it"


def suffixes(
    *,
    specification: str,
    marks: Iterable[str],
    water_capacity_l: Decimal | None,
    made_year: int | None,
    service_bar: Decimal | None,
    ree_ml: Decimal | None,
    elastic_ml: Decimal | None = None,
) -> tuple[Suffix, ...]:
    """Return what stands of star and plus on a cylinder; nothing where neither can be meant.

    elastic_ml: at the test that would be marked. Steel of the US alone, and whatever carries
    one of the two words in the register, is asked about.
    """
    words = frozenset(marks)
    if specification not in (*PLUS_SPECIFICATIONS, *STAR_SPECIFICATIONS) and not (
        words & {"star", "plus"}
    ):
        return ()
    facts = StarFacts(
        specification=specification,
        water_capacity_lb=water_capacity_l and water_capacity_l * LB_PER_LITRE,
        made_year=made_year,
        underwater=True if "diving" in words else None,
    )
    plus = plus_asked(specification, stress_kept=None, elastic_ml=elastic_ml, ree_ml=ree_ml)
    fill = plus_fill_pressure(Pressure.of(service_bar, "bar")) if service_bar else None
    return (
        _suffix("Star (*): ten years", star_asked(facts), carried="star" in words),
        _suffix(f"Plus (+): {fill or '110 %'}", plus, carried="plus" in words),
    )


def _suffix(named: str, asked: Iterable[Asked], *, carried: bool) -> Suffix:
    found = tuple(asked)
    barred = tuple(says for met, says in found if met is False)
    return Suffix(named, barred, tuple(says for met, says in found if met is None), carried)
