"""What a warm charge settles to, and where to stop so that it settles as wanted.

The gas keeps its density: the cylinder is taken as rigid, so its own small stretch is left
out and the true settled pressure is a little lower in a composite. Gauge pressures in bar,
temperatures of the gas in °C.
"""

from dataclasses import dataclass

from servicing.filling.pure.gas import density_kg_per_m3, gauge_bar_at

SETTLED_C = 15.0
"""The temperature at which a working pressure is stated (UN P200(4), 49 CFR 173.302b(b))."""
HOTTEST_C = 65.0
"""The temperature at which the pressure must not pass the test pressure (the same)."""

STOP_AT_C = (0, 10, 20, 30, 40, 50)
STOP_AT_BAR: dict[int, tuple[int, ...]] = {
    153: (141, 149, 156, 163, 171, 178),
    200: (184, 194, 205, 215, 225, 235),
    232: (213, 225, 238, 250, 262, 274),
    300: (275, 291, 308, 324, 341, 357),
    310: (284, 301, 318, 335, 352, 369),
}
"""Whole bars, rounded down, at which to stop at STOP_AT_C for so many bar settled at 15 °C.

Kept here so that the filling point shows them without loading an equation of state; the
tests hold them equal to it.
"""


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The highest gauge pressure a cylinder may show at a temperature, and what sets it.

    settled_bar: what that is at 15 °C. set_by: 'working pressure at 15 °C' or 'test
    pressure at 65 °C'.
    """

    gauge_bar: float
    at_c: float
    settled_bar: float
    set_by: str


def settled_bar(gauge_bar: float, at_c: float, settled_c: float = SETTLED_C) -> float:
    """Return the gauge pressure in bar that a closed charge has once it is at `settled_c`."""
    return gauge_bar_at(density_kg_per_m3(gauge_bar, at_c), settled_c)


def stop_at_bar(wanted_bar: float, at_c: float, settled_c: float = SETTLED_C) -> float:
    """Return the gauge pressure in bar at which to stop filling gas of `at_c`.

    So that it settles to the wanted pressure at `settled_c`.
    """
    return settled_bar(wanted_bar, settled_c, at_c)


def ceiling(working_bar: float, test_bar: float | None, at_c: float) -> Ceiling:
    """Return the highest safe gauge pressure at a temperature.

    Settled at 15 °C never above the working pressure, and at 65 °C never above the test
    pressure where that is known: UN P200(4), restated in 49 CFR 173.302b(b).
    """
    densest, set_by = density_kg_per_m3(working_bar, SETTLED_C), "working pressure at 15 °C"
    if test_bar is not None and (hot := density_kg_per_m3(test_bar, HOTTEST_C)) < densest:
        densest, set_by = hot, "test pressure at 65 °C"
    return Ceiling(gauge_bar_at(densest, at_c), at_c, gauge_bar_at(densest, SETTLED_C), set_by)


def stop_at_table(wanted_bar: float) -> tuple[tuple[int, int], ...]:
    """Return (temperature in °C, whole bars at which to stop), or nothing for odd pressures."""
    row = STOP_AT_BAR.get(int(wanted_bar)) if wanted_bar == int(wanted_bar) else None
    return tuple(zip(STOP_AT_C, row, strict=True)) if row else ()
