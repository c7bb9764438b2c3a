"""What an instrument can show: ranges as they stand on a plate, and readings outside of them."""

from decimal import Decimal

import pytest

from registry.items.pure import MeasuringRange, Serving
from servicing.bench.pure.answers import AnswerProblem, Given, Unusual, stored_answer
from servicing.bench.pure.procedure import Form, Measure, Step
from servicing.bench.pure.ranges import RangeProblem, Scale, read_ranges, too_coarse
from servicing.bench.pure.typed import Plausible
from servicing.bench.pure.units import UNITS

BAR, MBAR = UNITS["bar"], UNITS["mbar"]


def measure(unit: str, low: str, high: str, resolution: str | None = None) -> Measure:
    usual = Plausible(Decimal(low), Decimal(high), UNITS[unit])
    fine = Decimal(resolution) if resolution else None
    return Measure("read", UNITS[unit], None, plausible=usual, resolution=fine)


def scale(*ranges: str) -> Scale:
    return Scale("G1, Wexalune Gauge 400", read_ranges("\n".join(ranges)))


@pytest.mark.parametrize(
    ("text", "low", "high", "unit", "step"),
    [
        ("0 to 400 bar", "0", "400", "bar", None),
        ("-30 to 30 mbar in steps of 0.1", "-30", "30", "mbar", "0.1"),
        ("\u221230 to +30 mbar, step 0,1", "-30", "30", "mbar", "0.1"),
        ("0 bar to 400 bar", "0", "400", "bar", None),
        ("0...16 bar", "0", "16", "bar", None),
        ("0 – 6000 psi", "0", "6000", "psi", None),
        ("0 to 800 l/min steps of 1", "0", "800", "L/min", "1"),
    ],
)
def test_a_range_is_read_as_it_stands_on_a_plate(
    text: str, low: str, high: str, unit: str, step: str | None
) -> None:
    fine = Decimal(step) if step else None
    assert read_ranges(f"\n{text}\n") == (MeasuringRange(Decimal(low), Decimal(high), unit, fine),)


def test_what_is_shown_of_a_range_is_read_as_the_same_range() -> None:
    (found,) = read_ranges("-30 to 30 mbar in steps of 0.1")
    assert read_ranges(str(found)) == (found,)
    assert MeasuringRange.from_json(found.as_json()) == found


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("400 bar", "is no range; write it such as 0 to 400 bar"),
        ("0 to 400", "is no range"),
        ("0 to 400 furlongs", "is no unit known here"),
        ("400 to 0 bar", "A range goes upwards"),
        ("0 to 10 bar in steps of 20", "A step of 20 is none"),
        ("low to 400 bar", "low is not a number"),
        ("0 mbar to 400 bar", "write the unit once"),
        ("0 to 400 bar\nnonsense", "'nonsense' is no range"),
    ],
)
def test_a_range_nobody_can_mean_is_refused_with_what_to_write(text: str, says: str) -> None:
    with pytest.raises(RangeProblem, match=says):
        read_ranges(text)


@pytest.mark.parametrize(
    ("shows", "usual", "typed", "answer"),
    [
        # A fall from a full charge, a gauge from 0: nothing to say.
        (("0 to 400 bar",), ("bar", "0", "60"), "6", ""),
        # The ends belong to the range.
        (("0 to 400 bar",), ("bar", "100", "500"), "400", ""),
        (("0 to 400 bar",), ("bar", "100", "500"), "401", "refused"),
        # In the unit that was typed: 5802 psi is 400.03 bar.
        (("0 to 400 bar",), ("bar", "100", "500"), "5801 psi", ""),
        (("0 to 400 bar",), ("bar", "100", "500"), "5802 psi", "refused"),
        # A deviation has its own sign, and is never larger than the whole range.
        (("0 to 600 bar",), ("bar", "-40", "40"), "-10", ""),
        (("0 to 30 bar",), ("bar", "-40", "40"), "-31", "refused"),
        # Below where the gauge begins: a fall may be that, a charge is asked about.
        (("10 to 400 bar",), ("bar", "0", "60"), "6", ""),
        (("10 to 400 bar",), ("bar", "100", "330"), "6", "asked"),
        (("0 to 400 bar",), ("bar", "-1", "330"), "-2", "asked"),
        # Between the two ends of a bench only a difference can be 45 mbar.
        (("-30 to 30 mbar",), ("mbar", "0", "50"), "45", "asked"),
        (("-30 to 30 mbar",), ("mbar", "0", "50"), "61", "refused"),
        # The range in the procedure's own unit counts, where there is one.
        (("-30 to 30 mbar", "0 to 25 bar"), ("mbar", "0", "90"), "80", "refused"),
        (("-30 to 30 mbar", "0 to 25 bar"), ("bar", "0", "30"), "9", ""),
        (("0 to 6000 psi",), ("bar", "0", "500"), "300", ""),
        # What it says nothing of is held against nothing.
        ((), ("bar", "0", "60"), "9", ""),
        (("0 to 12 mm",), ("bar", "0", "60"), "9", ""),
    ],
)
def test_a_reading_is_held_against_what_the_instrument_shows(
    shows: tuple[str, ...], usual: tuple[str, str, str], typed: str, answer: str
) -> None:
    step = Step("read", Form.MEASURE, "Read it.", measure=measure(*usual))
    given = Given(typed=typed, unit=usual[0])
    if answer == "refused":
        with pytest.raises(AnswerProblem, match="can't be read on G1, Wexalune Gauge 400") as said:
            stored_answer(step, given, scale(*shows))
        assert not isinstance(said.value, Unusual)
        assert stored_answer(step, Given(typed=typed, unit=usual[0], sure=typed))["typed"] == typed
    elif answer == "asked":
        with pytest.raises(Unusual):
            stored_answer(step, given, scale(*shows))
        sure = stored_answer(step, Given(typed=typed, unit=usual[0], sure=typed), scale(*shows))
        assert sure["sure"] == typed
    else:
        assert stored_answer(step, given, scale(*shows))["typed"] == typed


@pytest.mark.parametrize(
    ("shows", "asked", "coarse"),
    [
        (("-30 to 30 mbar in steps of 0.1",), "0.1", False),
        (("-30 to 30 mbar in steps of 0.2",), "0.1", True),
        (("0 to 1 bar in steps of 0.0001",), "0.1", False),
        (("0 to 1 bar in steps of 0.01",), "0.1", True),
        (("-30 to 30 mbar",), "0.1", False),  # not stated
        (("-30 to 30 mbar in steps of 1",), None, False),  # not asked
        ((), "0.1", False),
    ],
)
def test_an_instrument_must_show_as_finely_as_the_procedure_asks(
    shows: tuple[str, ...], asked: str | None, coarse: bool
) -> None:
    said = too_coarse(read_ranges("\n".join(shows)), [measure("mbar", "0", "10", asked)])
    assert bool(said) is coarse
    assert "steps of 0.1 mbar are asked" in said or not coarse


def test_what_it_serves_as_is_said_in_words() -> None:
    bench = Serving(("mask-test-bench", "medium-pressure-gauge"), read_ranges("0 to 25 bar"))
    assert str(bench) == "mask test bench and medium pressure gauge, 0 to 25 bar"
    assert bench.may_be("mask-test-bench")
    assert not bench.may_be("air-test-kit")
    assert str(Serving()) == "not described yet"
    assert Serving().may_be("air-test-kit")
