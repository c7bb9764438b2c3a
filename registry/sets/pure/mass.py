"""What a ready set weighs with its air, against EN 137's 18 kg, the sum spelled out.

EN 137:2006, 6.6 [text]: at most 18 kg, ready for use with mask and full cylinder.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from registry.sets.pure.parts import Finding, Part, Word, bar
from registry.sets.pure.places import CYLINDERS, MANDATORY, Place

LIMIT_KG = Decimal(18)
SOURCE, SEEN = "EN 137:2006, 6.6", "text"

AIR_KG_PER_L = {
    Decimal(55): Decimal("0.06877"),
    Decimal(100): Decimal("0.12407"),
    Decimal(125): Decimal("0.15409"),
    Decimal(150): Decimal("0.18320"),
    Decimal(165): Decimal("0.20013"),
    Decimal(180): Decimal("0.21662"),
    Decimal(190): Decimal("0.22734"),
    Decimal(200): Decimal("0.23783"),
    Decimal(210): Decimal("0.24810"),
    Decimal(220): Decimal("0.25815"),
    Decimal(232): Decimal("0.26989"),
    Decimal(245): Decimal("0.28224"),
    Decimal(255): Decimal("0.29147"),
    Decimal(270): Decimal("0.30488"),
    Decimal(285): Decimal("0.31781"),
    Decimal(300): Decimal("0.33024"),
    Decimal(310): Decimal("0.33827"),
    Decimal(325): Decimal("0.34993"),
    Decimal(350): Decimal("0.36839"),
    Decimal(375): Decimal("0.38572"),
    Decimal(400): Decimal("0.40201"),
}
"""Mass of dry air, kg in each litre of water capacity, by bar gauge at 15 degrees C.

Computed with CoolProp 8.0.0: at 55, 100, 150, 200, 232, 270 and 300 bar as in table 7a of the
facts, at the others rounded up."""

HIGHEST_BAR = Decimal(400)

ChargeOf = Callable[[Decimal], Decimal | None]
"""Returns the kg of air in a litre at a pressure (bar, gauge, 15 degrees C); None: not known."""


def air_kg_per_l(pressure_bar: Decimal) -> Decimal | None:
    """Return at most how many kg of air a litre holds at a pressure (bar, gauge, 15 degrees C).

    Exact at the table's pressures. Between them never too little: density over pressure
    falls from 55 bar on, so the next lower row scaled up is an upper bound, and so is the
    next higher row; the smaller of the two is taken. From 150 to 300 bar that is at most
    1 % too much, by a test. None above 400 bar.
    """
    if pressure_bar > HIGHEST_BAR:
        return None
    above = [kg for row, kg in AIR_KG_PER_L.items() if row >= pressure_bar]
    below = [(row, kg) for row, kg in AIR_KG_PER_L.items() if row <= pressure_bar]
    bounds = above[:1] + [kg * pressure_bar / row for row, kg in below[-1:]]
    return min(bounds)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sum. mass_kg is None where it is not known; how: where it comes from."""

    what: str
    mass_kg: Decimal | None
    how: str


@dataclass(frozen=True, slots=True)
class Mass:
    """The sum, line by line. `missing`: mandatory places that are empty."""

    lines: tuple[Line, ...]
    missing: tuple[Place, ...]

    @property
    def sum_kg(self) -> Decimal:
        """The sum of what is known, in kg."""
        return sum((line.mass_kg for line in self.lines if line.mass_kg is not None), Decimal(0))

    @property
    def unknown(self) -> tuple[str, ...]:
        """What has no known mass, by name."""
        return tuple(line.what for line in self.lines if line.mass_kg is None)

    @property
    def too_heavy(self) -> bool:
        """Whether what is known is over the limit already. 18 kg itself is good."""
        return self.sum_kg > LIMIT_KG

    @property
    def complete(self) -> bool:
        """Whether everything is there and weighed, so that a verdict can be given."""
        return bool(self.lines) and not self.unknown and not self.missing

    @property
    def spelled(self) -> str:
        """The sum as people write it: 2.600 (frame F01) + ... = 17.204 kg."""
        known = [line for line in self.lines if line.mass_kg is not None]
        terms = " + ".join(f"{line.mass_kg:.3f} ({line.what})" for line in known)
        return f"{terms} = {self.sum_kg:.3f} kg" if terms else "nothing is weighed"

    @property
    def verdict(self) -> str:
        """The sentence that may be given: too heavy, within the limit, or not known."""
        limit = f"{LIMIT_KG} kg ({SOURCE})"
        if self.too_heavy:
            return f"{self.sum_kg:.3f} kg: over the limit of {limit}."
        if self.complete:
            return f"{self.sum_kg:.3f} kg: within the limit of {limit}."
        named = [*self.unknown, *(f"the {place.replace('-', ' ')}" for place in self.missing)]
        what = f", without {', '.join(named)}" if named else ""
        return f"{self.sum_kg:.3f} kg{what}: whether it is within {limit} is not known."

    def finding(self) -> Finding:
        """Return the mass as a finding about all places."""
        places = frozenset(Place)
        if self.too_heavy:
            why = f"The set would weigh {self.spelled}, over the limit of {LIMIT_KG} kg."
            return Finding(Word.REFUSED, places, why, SOURCE, SEEN)
        word = Word.FITS if self.complete else Word.NOT_STATED
        return Finding(word, places, self.verdict, SOURCE, SEEN)


def mass_of(parts: Mapping[Place, Part], charge_of: ChargeOf = air_kg_per_l) -> Mass:
    """Return the mass of a set, full: each part, each cylinder's tare, each charge of air.

    charge_of: the mass of air in a litre at a pressure; cylinders are taken as full to
    their working pressure at 15 degrees C.
    """
    lines: list[Line] = []
    for place in Place:
        if (part := parts.get(place)) is None:
            continue
        how = "tare, as stamped" if place in CYLINDERS else "mass of its type"
        lines.append(Line(part.name, part.mass_kg, how if part.mass_kg else "not stated"))
        if place in CYLINDERS:
            lines.append(_charge(part, charge_of))
    missing = tuple(place for place in Place if place in MANDATORY and place not in parts)
    return Mass(tuple(lines), missing)


def _charge(part: Part, charge_of: ChargeOf) -> Line:
    what = f"air in {part.tag}"
    if part.water_capacity_l is None or part.pressure_bar is None:
        return Line(what, None, "water capacity or working pressure not stated")
    per_l = charge_of(part.pressure_bar)
    if per_l is None:
        return Line(what, None, f"no air table at {bar(part.pressure_bar)}")
    mass_kg = (part.water_capacity_l * per_l).quantize(Decimal("0.001"), ROUND_CEILING)
    litres = f"{part.water_capacity_l.normalize():f} L"
    return Line(what, mass_kg, f"{litres} x {per_l:.5f} kg/L at {bar(part.pressure_bar)}, 15 °C")
