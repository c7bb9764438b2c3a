"""The rig itself: gauges, expansion readers, and the calibrated cylinder's check of the day.

49 CFR 180.205(g)(2)-(4), edition of 2015, [text]; agency letters where they are named.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Number, Pressure, figure_text

READABLE = "49 CFR 180.205(g)(2)"
PRESSURE_CHECK = "49 CFR 180.205(g)(3)(i)"
EXPANSION_CHECK = "49 CFR 180.205(g)(3)(ii)"
CALIBRATED = "49 CFR 180.205(g)(4)"
DEVICE_PERCENT = Fraction(1, 2)
"""Accuracy of a pressure or expansion device, in per cent of its full range."""
SYSTEM_PERCENT = Fraction(1)
FINEST_ML = Fraction("0.1")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. `says`: what was found, in words; `clause`: by which text."""

    good: bool
    says: str
    clause: str


class NotGoodEnough(HydroProblem):
    """A device that may not be used, however it is asked about."""


@dataclass(frozen=True, slots=True)
class GaugeUse:
    """What a gauge may be used for. error: its accuracy in the gauge's unit."""

    error: Pressure
    lowest_test_pressure: Pressure


def gauge_use(full_range: Pressure, accuracy_percent: Number = DEVICE_PERCENT) -> GaugeUse:
    """Return the lowest test pressure a gauge is good for, by its range.

    accuracy_percent: of full range. The error may be 1 % of test pressure at most (letter
    13-0131 of 2013-09-24: 0 to 1100 psig at 0.5 % is 5.5 psig, so 550 psig and above).
    Raises NotGoodEnough where the device is coarser than 0.5 % of full range (letter 15-0055 of
    2015-11-25). Letter 14-0144 of 2014-09-16 reads 0.5 % as of the reading: it conflicts with
    13-0131, its answer is cut off in the copy read, and 13-0131 with the words of the
    regulation is followed. `within_reading` gives the stricter one.
    """
    accuracy = Fraction(accuracy_percent)
    if accuracy <= 0:
        raise HydroProblem("The accuracy is above 0 %; write it as on the certificate.")
    if accuracy > DEVICE_PERCENT:
        raise NotGoodEnough(
            f"A device of {figure_text(accuracy, 4)} % can't be used: "
            "0.5 % of full range is the most "
            f"({PRESSURE_CHECK}; letter 15-0055)."
        )
    error = full_range.times(accuracy / 100)
    return GaugeUse(error, error.times(100 / SYSTEM_PERCENT))


def within_range(error: Pressure, full_range: Pressure) -> bool:
    """Say whether an error found at calibration is within 0.5 % of full range (13-0131)."""
    return error <= full_range.times(DEVICE_PERCENT / 100)


def within_reading(error: Pressure, reading: Pressure) -> bool:
    """Say whether an error is within 0.5 % of the reading, as letter 14-0144 seems to ask."""
    return error <= reading.times(DEVICE_PERCENT / 100)


def gauge_readable(
    test_pressure: Pressure, division: Pressure, *, analogue: bool = True
) -> Finding:
    """Say whether a gauge can be read to 1 % of test pressure.

    An analogue gauge may be read to half a division, a digital one to its last step.
    """
    finest = division.times(Fraction(1, 2)) if analogue else division
    most = test_pressure.times(SYSTEM_PERCENT / 100)
    says = f"can be read to {finest}; {most} is asked at {test_pressure}"
    return Finding(finest <= most, says, READABLE)


def expansion_readable(total_ml: Number, step_ml: Number) -> Finding:
    """Say whether an expansion reader is fine enough: 1 % of total or 0.1 mL, the larger."""
    most = expansion_tolerance_ml(total_ml)
    says = (
        f"can be read to {figure_text(Fraction(step_ml), 3)} mL; {figure_text(most, 3)} mL is asked"
    )
    return Finding(Fraction(step_ml) <= most, says, READABLE)


def expansion_tolerance_ml(total_ml: Number) -> Fraction:
    """Return 1 % of a total expansion or 0.1 mL, whichever is larger; they meet at 10 mL."""
    return max(Fraction(total_ml) * SYSTEM_PERCENT / 100, FINEST_ML)


@dataclass(frozen=True, slots=True)
class DailyCheck:
    """The calibrated cylinder put through the rig on the day of the tests.

    certified_pressure, certified_ml: a pair from its certificate. shown_pressure: the rig's
    reading there. read_ml: the expansion read; left_ml: what stayed after the pressure was off.
    """

    cylinder: str
    certified_pressure: Pressure
    shown_pressure: Pressure
    certified_ml: Fraction
    read_ml: Fraction
    left_ml: Fraction = Fraction(0)


def daily_check(check: DailyCheck, test_pressure: Pressure) -> tuple[Finding, ...]:
    """Return what the day's check finds for tests at a pressure; the rig is good if all are.

    The point of the check lies within 500 psig of the test pressure from 3000 psig on, within
    10 % below; the pressure within 1 %, the expansion within 1 % or 0.1 mL, and nothing stays.
    """
    return (
        _near(check, test_pressure),
        _pressure_shown(check),
        _expansion_read(check),
        Finding(
            check.left_ml == 0,
            f"{figure_text(check.left_ml, 3)} mL stayed; "
            "the calibrated cylinder must come back to 0",
            CALIBRATED,
        ),
    )


def _near(check: DailyCheck, test_pressure: Pressure) -> Finding:
    high = test_pressure.psi >= 3000
    room = Pressure.of(500, "psi") if high else test_pressure.times(Fraction(1, 10))
    away = abs(check.certified_pressure.pa - test_pressure.pa)
    within = "500 psig" if high else "10 %"
    says = f"checked at {check.certified_pressure}; {within} of {test_pressure} is near enough"
    return Finding(away <= room.pa, says, PRESSURE_CHECK)


def _pressure_shown(check: DailyCheck) -> Finding:
    off = abs(check.shown_pressure.pa - check.certified_pressure.pa)
    most = check.certified_pressure.times(SYSTEM_PERCENT / 100)
    says = f"showed {check.shown_pressure} at {check.certified_pressure}; 1 % off is the most"
    return Finding(off <= most.pa, says, PRESSURE_CHECK)


def _expansion_read(check: DailyCheck) -> Finding:
    off = abs(check.read_ml - check.certified_ml)
    most = expansion_tolerance_ml(check.certified_ml)
    says = (
        f"read {figure_text(check.read_ml, 3)} mL "
        f"of {figure_text(check.certified_ml, 3)} mL certified; "
        f"{figure_text(most, 3)} mL off is the most"
    )
    return Finding(off <= most, says, EXPANSION_CHECK)


def device_good(error_ml: Number, full_scale_ml: Number) -> Finding:
    """Say whether an expansion device is within 0.5 % of its full scale."""
    most = Fraction(full_scale_ml) * DEVICE_PERCENT / 100
    says = f"off by {Decimal(str(error_ml))} mL; {figure_text(most, 3)} mL is the most"
    return Finding(Fraction(error_ml) <= most, says, EXPANSION_CHECK)
