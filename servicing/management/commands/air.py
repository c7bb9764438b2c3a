"""Say how much air a cylinder holds, how long it lasts, and where to stop filling it."""

import json
from argparse import ArgumentParser, ArgumentTypeError, RawDescriptionHelpFormatter
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.management.console import figure
from servicing.due.pure.sheet import GENERAL_CAUTION
from servicing.filling.pure.air import (
    REFERENCE_C,
    WARNING_BAR,
    WORK_RATE_L_PER_MIN,
    AirSheet,
    Charge,
    air_sheet,
)
from servicing.filling.pure.cascade import Cascade, Vessel, cascade
from servicing.filling.pure.gas import GasQuestion
from servicing.filling.pure.settling import SETTLED_C, ceiling, settled_bar, stop_at_bar

EXAMPLES = """
Examples:
  %(prog)s --capacity 6.8 --pressure 300
  %(prog)s --capacity 6.8 --pressure 300 --temperature 36 --rate 50 --format json
  %(prog)s --capacity 6.8 --pressure 300 --nominal-minus-10
  %(prog)s --capacity 6.8 --pressure 50 --to 300 --from 50:310 --from 50:220

Pressures are gauge pressures. Real air after the equation of state of Lemmon and others
(2000); beside it the ideal figure V x p. A cylinder is taken as rigid.
"""


def _figure(text: str) -> float:
    return float(figure()(text))


def _pressure(text: str) -> float:
    return float(figure(least=1, most=2000)(text))


class Command(BaseCommand):
    help = (
        "How much air a cylinder holds and how long it lasts, as a real gas; what a warm charge\n"
        "settles to; where to stop; and what storage bottles give."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> Any:
        parser = super().create_parser(prog_name, subcommand, epilog=EXAMPLES, **kwargs)
        parser.formatter_class = RawDescriptionHelpFormatter
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        add = parser.add_argument
        add("--capacity", type=_figure, required=True, metavar="L", help="water capacity, litres")
        add("--pressure", type=_figure, required=True, metavar="BAR", help="on the gauge now")
        add(
            "--temperature",
            type=_figure,
            default=REFERENCE_C,
            metavar="C",
            help=f"of the gas; {REFERENCE_C:g} without it",
        )
        add(
            "--rate",
            type=_figure,
            default=WORK_RATE_L_PER_MIN,
            metavar="L/MIN",
            help=f"what is breathed; {WORK_RATE_L_PER_MIN:g} without it",
        )
        add(
            "--warning",
            type=_figure,
            default=WARNING_BAR,
            metavar="BAR",
            help=f"where the warning sounds; {WARNING_BAR:g} without it",
        )
        add(
            "--nominal-minus-10",
            action="store_true",
            help="also say the time by the convention 'nominal - 10 min'",
        )
        add("--to", type=_figure, metavar="BAR", help="fill to this, settled at 15 C")
        add("--test-pressure", type=_pressure, metavar="BAR", help="what the shoulder says")
        add(
            "--from",
            dest="bottles",
            type=bottle,
            action="append",
            default=[],
            metavar="L:BAR",
            help="a storage bottle; once for each",
        )
        add("--format", default="text", choices=["text", "json"])

    def handle(self, **options: Any) -> None:
        try:
            found = _answers(options)
        except GasQuestion as problem:
            raise CommandError(str(problem), returncode=2) from problem
        if options["format"] == "json":
            self.stdout.write(json.dumps(found, ensure_ascii=False, indent=1))
        else:
            self.stdout.write("\n".join(_lines(found)))


def bottle(text: str) -> tuple[float, float]:
    """Return (water capacity in L, gauge pressure in bar) from text such as 50:300."""
    litres, _, bar = text.partition(":")
    try:
        return float(litres), float(bar)
    except ValueError as error:
        raise ArgumentTypeError(f"{text!r}: write litres and bar, such as 50:300") from error


def shown(value: float, places: int) -> float:
    """Return a figure rounded half up, as tables of the trade are."""
    step = Decimal(1).scaleb(-places)
    return float(Decimal(repr(value)).quantize(step, ROUND_HALF_UP))


def _answers(options: dict[str, Any]) -> dict[str, Any]:
    charge = Charge(options["capacity"], options["pressure"], options["temperature"])
    sheet = air_sheet(charge, options["rate"], options["warning"])
    found = _charge(sheet, less_10=options["nominal_minus_10"])
    if options["to"] is not None:
        found["filling"] = _filling(charge, options["to"], options["test_pressure"])
    if options["bottles"]:
        bottles = [Vessel(f"{n}", *one) for n, one in enumerate(options["bottles"], start=1)]
        wanted = max(bar for _, bar in options["bottles"])
        if "filling" in found:
            wanted = found["filling"]["stop_at_bar"]
        cylinder = Vessel("cylinder", charge.water_capacity_l, charge.gauge_bar)
        found["cascade"] = _cascade(cascade(cylinder, bottles, wanted, charge.at_c), wanted)
    found["caution"] = GENERAL_CAUTION[-1]
    return found


def _charge(sheet: AirSheet, *, less_10: bool) -> dict[str, Any]:
    charge, real, ideal = sheet.charge, sheet.lasting, sheet.ideal_lasting
    found: dict[str, Any] = {
        "water_capacity_l": charge.water_capacity_l,
        "gauge_bar": charge.gauge_bar,
        "temperature_c": charge.at_c,
        "work_rate_l_per_min": sheet.rate_l_per_min,
        "warning_bar": sheet.warning_bar,
        "free_air_l_at_own_temperature_1013_mbar": shown(sheet.free_l_at_own_temperature, 1),
        "free_air_l_at_15_c_1013_mbar": shown(sheet.free_l_at_15_c, 1),
        "ideal_free_air_l": shown(sheet.ideal_l, 1),
        "real_to_ideal": shown(sheet.ratio, 4),
        "charge_kg": shown(sheet.charge_kg, 3),
        "to_warning_min": shown(real.to_warning_min, 1),
        "to_empty_min": shown(real.to_empty_min, 1),
        "ideal_to_warning_min": shown(ideal.to_warning_min, 1),
        "ideal_to_empty_min": shown(ideal.to_empty_min, 1),
        "settled_bar_at_15_c": shown(settled_bar(charge.gauge_bar, charge.at_c), 1),
    }
    if less_10:
        found["nominal_minus_10_min"] = shown(ideal.nominal_less_10_min, 1)
    return found


def _filling(charge: Charge, wanted_bar: float, test_bar: float | None) -> dict[str, Any]:
    limit = ceiling(wanted_bar, test_bar, charge.at_c)
    return {
        "wanted_bar_at_15_c": wanted_bar,
        "stop_at_bar": shown(min(stop_at_bar(wanted_bar, charge.at_c), limit.gauge_bar), 1),
        "at_c": charge.at_c,
        "set_by": limit.set_by,
    }


def _cascade(found: Cascade, wanted_bar: float) -> dict[str, Any]:
    return {
        "wanted_bar": wanted_bar,
        "reached": found.reached,
        "cylinder_bar": shown(found.cylinder.gauge_bar, 1),
        "steps": [
            {
                "bottle": int(step.bottle),
                "bottle_before_bar": shown(step.bottle_before_bar, 1),
                "bottle_after_bar": shown(step.bottle_after_bar, 1),
                "cylinder_after_bar": shown(step.cylinder_after_bar, 1),
            }
            for step in found.steps
        ],
        "left_bar": [shown(bottle.gauge_bar, 1) for bottle in found.bottles],
    }


def _lines(found: dict[str, Any]) -> list[str]:
    rate, warning = found["work_rate_l_per_min"], found["warning_bar"]
    lines = [
        f"{found['water_capacity_l']:g} L at {found['gauge_bar']:g} bar and "
        f"{found['temperature_c']:g} C, breathed at {rate:g} L/min",
        "                                   real air   ideal V x p",
        _row("free air at its own temperature, L", found, "free_air_l_at_own_temperature_1013_mbar",
             "ideal_free_air_l"),
        _row("the same air at 15 C, L", found, "free_air_l_at_15_c_1013_mbar"),
        _row(f"to the warning at {warning:g} bar, min", found, "to_warning_min",
             "ideal_to_warning_min"),
        _row("to empty, min", found, "to_empty_min", "ideal_to_empty_min"),
        _row("mass of the air inside, kg", found, "charge_kg"),
        _row(f"settled at {SETTLED_C:g} C, bar", found, "settled_bar_at_15_c"),
    ]  # fmt: skip
    if "nominal_minus_10_min" in found:
        lines.append(f"{'nominal - 10 min, min':<34}{'':>9}{found['nominal_minus_10_min']:>14}")
    if "filling" in found:
        to = found["filling"]
        lines.append(
            f"to settle at {to['wanted_bar_at_15_c']:g} bar: stop at {to['stop_at_bar']} bar at "
            f"{to['at_c']:g} C (set by the {to['set_by'].replace('°C', 'C')})"
        )
    return [*lines, *_cascade_lines(found), "", found["caution"]]


def _row(what: str, found: dict[str, Any], real: str, ideal: str = "") -> str:
    beside = f"{found[ideal]:>14}" if ideal else ""
    return f"{what:<34}{found[real]:>9}{beside}"


def _cascade_lines(found: dict[str, Any]) -> list[str]:
    if "cascade" not in found:
        return []
    done = found["cascade"]
    lines = [
        f"open bottle {step['bottle']}: {step['bottle_before_bar']} -> {step['bottle_after_bar']} "
        f"bar; the cylinder comes to {step['cylinder_after_bar']} bar"
        for step in done["steps"]
    ]
    if not done["reached"]:
        lines.append(
            f"the storage does not reach {done['wanted_bar']:g} bar; it ends at "
            f"{done['cylinder_bar']} bar"
        )
    return lines
