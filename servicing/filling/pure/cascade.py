"""Topping a cylinder up from storage bottles: one equalisation after the other.

Real gas, everything at one temperature: each step is taken as finished when the heat has
gone. Gauge pressures in bar, water capacities in litres, masses in kg.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from servicing.filling.pure import gas

STEADY_BAR = 0.05
"""Below this difference nothing flows that a gauge would show."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """A cylinder or storage bottle with what it holds."""

    name: str
    water_capacity_l: float
    gauge_bar: float

    def holds_kg(self, at_c: float) -> float:
        """Return the mass in kg of all the air in it."""
        return self.water_capacity_l / 1000 * gas.density_kg_per_m3(self.gauge_bar, at_c)


@dataclass(frozen=True, slots=True)
class Step:
    """One bottle opened to the cylinder and closed again; pressures in bar, mass in kg."""

    bottle: str
    bottle_before_bar: float
    bottle_after_bar: float
    cylinder_before_bar: float
    cylinder_after_bar: float
    moved_kg: float


@dataclass(frozen=True, slots=True)
class Cascade:
    """A filling from storage: the steps in order, and what all vessels hold after it."""

    steps: tuple[Step, ...]
    cylinder: Vessel
    bottles: tuple[Vessel, ...]
    reached: bool


def cascade(cylinder: Vessel, bottles: Sequence[Vessel], wanted_bar: float, at_c: float) -> Cascade:
    """Return how a cylinder comes to a wanted pressure from storage bottles.

    The bottle with the least pressure that still gives something is opened first, so that
    the fullest is kept for the end (common practice). Each is opened once. Where the
    storage does not reach, the cylinder stays below and `reached` says so. Raises
    GasQuestion for pressures or a temperature that no cylinder has.
    """
    if wanted_bar <= 0:
        raise gas.GasQuestion(f"{wanted_bar:g} bar: give a wanted pressure above 0.")
    left = dict(enumerate(bottles))
    steps = []
    for place in sorted(left, key=lambda place: left[place].gauge_bar):
        if wanted_bar - cylinder.gauge_bar < STEADY_BAR:
            break
        if left[place].gauge_bar - cylinder.gauge_bar < STEADY_BAR:
            continue
        step, cylinder, left[place] = _opened(cylinder, left[place], wanted_bar, at_c)
        steps.append(step)
    reached = wanted_bar - cylinder.gauge_bar < STEADY_BAR
    return Cascade(tuple(steps), cylinder, tuple(left.values()), reached)


def equalised_bar(one: Vessel, other: Vessel, at_c: float) -> float:
    """Return the gauge pressure in bar that two joined vessels come to."""
    litres = one.water_capacity_l + other.water_capacity_l
    return gas.gauge_bar_at(1000 * (one.holds_kg(at_c) + other.holds_kg(at_c)) / litres, at_c)


def missing_kg(cylinder: Vessel, wanted_bar: float, at_c: float) -> float:
    """Return the mass in kg that a cylinder lacks to a wanted pressure; 0 where it has it."""
    full = replace(cylinder, gauge_bar=wanted_bar)
    return max(0.0, full.holds_kg(at_c) - cylinder.holds_kg(at_c))


def _opened(
    cylinder: Vessel, bottle: Vessel, wanted_bar: float, at_c: float
) -> tuple[Step, Vessel, Vessel]:
    """Open a bottle until the pressures are equal or the wanted one is reached."""
    equal = equalised_bar(cylinder, bottle, at_c)
    after = min(equal, wanted_bar)
    moved = missing_kg(cylinder, after, at_c)
    left_kg_per_m3 = 1000 * (bottle.holds_kg(at_c) - moved) / bottle.water_capacity_l
    bottle_after = equal if after == equal else gas.gauge_bar_at(left_kg_per_m3, at_c)
    step = Step(bottle.name, bottle.gauge_bar, bottle_after, cylinder.gauge_bar, after, moved)
    return step, replace(cylinder, gauge_bar=after), replace(bottle, gauge_bar=bottle_after)
