"""Expansion under test: total, permanent and elastic, by water jacket or by direct measurement."""

from dataclasses import dataclass
from fractions import Fraction

from servicing.hydrostatic.pure import water
from servicing.hydrostatic.pure.amounts import HydroProblem, Number, exact


@dataclass(frozen=True, slots=True)
class Expansion:
    """What a cylinder gave way under test pressure, in mL (cm3), exact.

    total: at test pressure. permanent: left after the pressure is off. Refuses what no test can
    give: a total of nought or less, and a permanent part below nought or above the total.
    """

    total_ml: Fraction
    permanent_ml: Fraction

    def __post_init__(self) -> None:
        if self.total_ml <= 0:
            raise HydroProblem(
                "The total expansion must be above 0: every cylinder gives way. Look for the fault "
                "in the rig or in the figures."
            )
        if self.permanent_ml < 0:
            raise HydroProblem(
                "The permanent expansion can't be below 0; the reading has wandered. Test again."
            )
        if self.permanent_ml > self.total_ml:
            raise HydroProblem("The permanent expansion can't be more than the total; check both.")

    @property
    def elastic_ml(self) -> Fraction:
        """EE = TE - PE (49 CFR 180.203)."""
        return self.total_ml - self.permanent_ml

    @property
    def percent(self) -> Fraction:
        """Permanent as per cent of total, 100 PE/TE, never rounded (49 CFR 180.215(b)(2))."""
        return 100 * self.permanent_ml / self.total_ml


@dataclass(frozen=True, slots=True)
class DirectReading:
    """What a direct expansion (non-jacket) test measures.

    forced_in_ml: a, pressed in to reach test pressure. expelled_ml: b, coming back on release.
    Both with the rig's own expansion taken off, measured at 0 bar. water_kg: in the full
    cylinder before the test. Water, cylinder and room are at one temperature.
    """

    forced_in_ml: Fraction
    expelled_ml: Fraction
    water_kg: Fraction
    temperature_c: Fraction
    pressure_bar: Fraction

    @property
    def water_at_pressure_kg(self) -> Fraction:
        """W: what was in the cylinder and what was forced in, at 1 kg a litre."""
        return self.water_kg + self.forced_in_ml / 1000

    @property
    def permanent_ml(self) -> Fraction:
        """a - b."""
        return self.forced_in_ml - self.expelled_ml


@dataclass(frozen=True, slots=True)
class DirectResult:
    """A direct expansion test, corrected for the water's compression in both ways.

    handbook: None where the handbook's table does not reach to the temperature.
    """

    iapws: Expansion
    iapws_correction_ml: Fraction
    handbook: Expansion | None
    handbook_correction_ml: Fraction | None

    @property
    def stricter(self) -> Expansion:
        """The one with the larger permanent share: the verdict goes by it."""
        if self.handbook is None or self.iapws.percent > self.handbook.percent:
            return self.iapws
        return self.handbook


def expansion(total_ml: Number, permanent_ml: Number) -> Expansion:
    """Return the expansion as read at a water jacket, in mL. Raises HydroProblem."""
    return Expansion(Fraction(total_ml), Fraction(permanent_ml))


def direct_reading(
    *,
    forced_in_ml: Number,
    expelled_ml: Number,
    water_kg: Number,
    temperature_c: Number,
    pressure_bar: Number,
) -> DirectReading:
    """Return a direct reading from plain numbers, units as in the names."""
    return DirectReading(*exact(forced_in_ml, expelled_ml, water_kg, temperature_c, pressure_bar))


def direct_expansion(reading: DirectReading) -> DirectResult:
    """Return the expansion with the water's compression taken off, total = a - C.

    The permanent share is of the total after the correction, and W is the water at test
    pressure, not that of the unpressed cylinder. Raises HydroProblem outside 4 to 40 degC and
    0 to 700 bar, and where no expansion is left.
    """
    amounts = (reading.water_at_pressure_kg, reading.temperature_c, reading.pressure_bar)
    ours = water.compression_ml(*amounts)
    theirs = (
        water.handbook_compression_ml(*amounts)
        if water.in_handbook(reading.temperature_c)
        else None
    )
    return DirectResult(
        iapws=Expansion(reading.forced_in_ml - ours, reading.permanent_ml),
        iapws_correction_ml=ours,
        handbook=None
        if theirs is None
        else Expansion(reading.forced_in_ml - theirs, reading.permanent_ml),
        handbook_correction_ml=theirs,
    )
