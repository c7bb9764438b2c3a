"""What a rig may be used for, by the plates and certificates of its gauge and its reader.

49 CFR 180.205(g)(2) and (3), edition of 2015 [text]. Outside the US it is common practice.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure
from servicing.hydrostatic.pure.equipment import (
    PRESSURE_CHECK,
    Finding,
    device_good,
    expansion_readable,
    gauge_readable,
    gauge_use,
    within_range,
    within_reading,
)

REACHES = Fraction(11, 10)
"""A gauge is readable from 90 to 110 % of test pressure (g)(3)(i)."""


@dataclass(frozen=True, slots=True)
class Rig:
    """What the plates and the certificates say; None where nobody knows.

    gauge_step: the smallest division of a gauge with a pointer, the last step of a digital
    one. gauge_off, reader_off_ml: the most it was off when it was calibrated.
    """

    gauge_range: Pressure | None = None
    gauge_step: Pressure | None = None
    gauge_off: Pressure | None = None
    gauge_digital: bool = False
    reader_range_ml: Decimal | None = None
    reader_step_ml: Decimal | None = None
    reader_off_ml: Decimal | None = None

    def gauge(self, test_pressure: Pressure) -> tuple[Finding, ...]:
        """Return what is found about the gauge at a test pressure; nothing of what is not known."""
        return tuple(_gauge(self, test_pressure))

    def reader(self, total_ml: Fraction) -> tuple[Finding, ...]:
        """Return what is found about the expansion reader at a total expansion."""
        found = []
        if self.reader_step_ml is not None:
            found.append(expansion_readable(total_ml, self.reader_step_ml))
        if self.reader_range_ml is not None and self.reader_off_ml is not None:
            found.append(device_good(self.reader_off_ml, self.reader_range_ml))
        return tuple(found)

    def not_known(self, *, volumetric: bool) -> tuple[str, ...]:
        """Return what nobody has said, so that it was not judged."""
        asked: list[tuple[str, object]] = [
            ("how far the gauge shows", self.gauge_range),
            ("how finely it shows", self.gauge_step),
            ("how far off it was at its calibration", self.gauge_off),
        ]
        if volumetric:
            asked += [
                ("how far the expansion reader shows", self.reader_range_ml),
                ("how finely it shows", self.reader_step_ml),
                ("how far off it was at its calibration", self.reader_off_ml),
            ]
        return tuple(words for words, known in asked if known is None)


def _gauge(rig: Rig, test_pressure: Pressure) -> Iterator[Finding]:
    if rig.gauge_step is not None:
        yield gauge_readable(test_pressure, rig.gauge_step, analogue=not rig.gauge_digital)
    if rig.gauge_range is None:
        return
    if rig.gauge_range.pa == 0:
        raise HydroProblem("The gauge shows further than 0; write its full range.")
    reaches = test_pressure.times(REACHES)
    yield Finding(
        rig.gauge_range >= reaches,
        f"shows to {rig.gauge_range}; 110 % of test pressure, {reaches}, has to be readable",
        PRESSURE_CHECK,
    )
    if rig.gauge_off is not None:
        yield from _accuracy(rig.gauge_off, rig.gauge_range, test_pressure)


def _accuracy(off: Pressure, full_range: Pressure, test_pressure: Pressure) -> Iterator[Finding]:
    """Yield what an error found at calibration means: of the range, and of the test pressure."""
    most = gauge_use(full_range).error
    says = f"off by {off} at its calibration; {most}, 0.5 % of full range, is the most"
    if not within_reading(off, test_pressure):
        says += "; over 0.5 % of the reading, which letter 14-0144 seems to ask"
    yield Finding(within_range(off, full_range), says, f"{PRESSURE_CHECK}; letter 13-0131")
    if off.pa > 0 and within_range(off, full_range):
        use = gauge_use(full_range, off.pa / full_range.pa * 100)
        says = f"good from a test pressure of {use.lowest_test_pressure}"
        yield Finding(use.lowest_test_pressure <= test_pressure, says, PRESSURE_CHECK)
