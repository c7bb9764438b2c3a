"""How much air a cylinder holds and how long it lasts, as a real gas and by the ideal V x p.

Pressures are gauge pressures in bar, temperatures in °C, water capacities in litres. Free
litres are litres at 1.01325 bar; at which temperature they are measured stands in the name.
Results are plain numbers; whoever shows them rounds them.
"""

from dataclasses import dataclass

from servicing.filling.pure import gas

WORK_RATE_L_PER_MIN = 40.0
"""What is breathed at moderate to hard work, common practice and the rate of nominal times."""
WARNING_BAR = 55.0
"""Middle of the warning device's window, 55 +/- 5 bar: EN 137 6.18 (seen second-hand)."""
WITHDRAWAL_MIN = 10.0
"""Taken off by the 'nominal - 10 min' convention of the UK and of ships (seen second-hand)."""
REFERENCE_C = 15.0


@dataclass(frozen=True, slots=True)
class Charge:
    """A cylinder as its gauge shows it.

    water_capacity_l: litres of water it holds. gauge_bar: bar above the air around it.
    at_c: temperature of the gas in °C. Raises GasQuestion for what no cylinder has.
    """

    water_capacity_l: float
    gauge_bar: float
    at_c: float = REFERENCE_C

    def __post_init__(self) -> None:
        if not 0 < self.water_capacity_l <= 3000:
            raise gas.GasQuestion(
                f"{self.water_capacity_l:g} L: give a water capacity above 0, up to 3000 L."
            )
        gas.density_kg_per_m3(self.gauge_bar, self.at_c)


@dataclass(frozen=True, slots=True)
class Lasting:
    """For how many minutes a charge lasts at a work rate."""

    to_warning_min: float
    to_empty_min: float

    @property
    def nominal_less_10_min(self) -> float:
        """Minutes to empty less ten for the way out; never below 0."""
        return max(0.0, self.to_empty_min - WITHDRAWAL_MIN)


@dataclass(frozen=True, slots=True)
class AirSheet:
    """All that is said of a charge: the real gas, and the ideal figure beside it.

    free_l_at_own_temperature: litres that leave the cylinder, measured at 1.01325 bar and
    at the charge's own temperature; free_l_at_15_c: the same air at 15 °C. charge_kg: all
    the air inside, also what stays in it. ideal_l: V x p. ratio: real to ideal litres.
    """

    charge: Charge
    rate_l_per_min: float
    warning_bar: float
    free_l_at_own_temperature: float
    free_l_at_15_c: float
    charge_kg: float
    compressibility: float
    lasting: Lasting
    ideal_l: float
    ideal_lasting: Lasting

    @property
    def ratio(self) -> float:
        """Real free litres as a share of the ideal ones."""
        return self.free_l_at_own_temperature / self.ideal_l if self.ideal_l else 1.0


def free_air_l_at_own_temperature(charge: Charge, down_to_bar: float = 0.0) -> float:
    """Return the free litres a charge gives on its way down to a gauge pressure in bar.

    Measured at 1.01325 bar and the charge's own temperature; nothing where it is below.
    """
    return _given_kg(charge, down_to_bar) / gas.density_kg_per_m3(0, charge.at_c) * 1000


def free_air_l_at_15_c(charge: Charge, down_to_bar: float = 0.0) -> float:
    """Return the same, measured at 15 °C and 1.01325 bar."""
    return _given_kg(charge, down_to_bar) / gas.density_kg_per_m3(0, REFERENCE_C) * 1000


def ideal_free_air_l(charge: Charge, down_to_bar: float = 0.0) -> float:
    """Return V x p in litres: what EN practice and nominal times reckon with."""
    return charge.water_capacity_l * max(0.0, charge.gauge_bar - down_to_bar)


def charge_kg(charge: Charge) -> float:
    """Return the mass in kg of all the air in the cylinder, for the mass of a ready set."""
    return charge.water_capacity_l / 1000 * gas.density_kg_per_m3(charge.gauge_bar, charge.at_c)


def air_sheet(
    charge: Charge,
    rate_l_per_min: float = WORK_RATE_L_PER_MIN,
    warning_bar: float = WARNING_BAR,
) -> AirSheet:
    """Return what a charge holds and how long it lasts at a work rate in L/min.

    The breathed litres are taken at the charge's own temperature. Raises GasQuestion.
    """
    if not 1 <= rate_l_per_min <= 500:
        raise gas.GasQuestion(f"{rate_l_per_min:g} L/min: give a work rate from 1 to 500 L/min.")
    return AirSheet(
        charge=charge,
        rate_l_per_min=rate_l_per_min,
        warning_bar=warning_bar,
        free_l_at_own_temperature=free_air_l_at_own_temperature(charge),
        free_l_at_15_c=free_air_l_at_15_c(charge),
        charge_kg=charge_kg(charge),
        compressibility=gas.compressibility(charge.gauge_bar, charge.at_c),
        lasting=Lasting(
            free_air_l_at_own_temperature(charge, warning_bar) / rate_l_per_min,
            free_air_l_at_own_temperature(charge) / rate_l_per_min,
        ),
        ideal_l=ideal_free_air_l(charge),
        ideal_lasting=Lasting(
            ideal_free_air_l(charge, warning_bar) / rate_l_per_min,
            ideal_free_air_l(charge) / rate_l_per_min,
        ),
    )


def _given_kg(charge: Charge, down_to_bar: float) -> float:
    """Return the mass in kg that leaves on the way down at one temperature."""
    full = gas.density_kg_per_m3(charge.gauge_bar, charge.at_c)
    left = gas.density_kg_per_m3(down_to_bar, charge.at_c)
    return charge.water_capacity_l / 1000 * max(0.0, full - left)
