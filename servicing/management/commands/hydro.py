"""Hydrostatic test arithmetic at a terminal: nothing is read from the register or written."""

import json
from argparse import ArgumentParser, ArgumentTypeError, RawDescriptionHelpFormatter
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.management import console
from registry.sites.clock import today_anywhere
from servicing.due.pure.sheet import GENERAL_CAUTION
from servicing.hydrostatic.pure import amounts, equipment, marks
from servicing.hydrostatic.pure.expansion import (
    DirectResult,
    Expansion,
    direct_expansion,
    direct_reading,
    expansion,
)
from servicing.hydrostatic.pure.limits import least_test_pressure
from servicing.hydrostatic.pure.stress import (
    STRESS_CAPPED,
    WALL_STRESS,
    rejection_expansion_3ht_ml,
    stress_cap,
    wall_stress_psi,
)
from servicing.hydrostatic.pure.suffixes import PLUS_LIMITS, plus_allowed
from servicing.hydrostatic.pure.verdict import (
    Run,
    Subject,
    TestVerdict,
    Word,
    is_very_small,
    judge,
    pre_check_pressure,
    repeat_pressure,
)
from servicing.hydrostatic.pure.water import (
    compression_ml,
    density_kg_m3,
    extra_ml_per_l,
    handbook_compression_ml,
    in_handbook,
    shrinkage_ml_per_l,
)
from servicing.hydrostatic.queries import limits

Said = dict[str, object]
"""What a subcommand found: words and figures by name, in the order to be read."""

EXAMPLES = """Examples:
  %(prog)s pressure --specification DOT-3AL --working "2216 psi"
  %(prog)s jacket --specification DOT-3AA --test-pressure "5000 psi" --total 60 --permanent 6
  %(prog)s direct --specification EN-ISO-9809-1 --test-pressure "232 bar" --temperature 15 \\
      --forced-in 1745 --expelled 1742 --water 113.8
  %(prog)s proof --specification EN-12245 --test-pressure "450 bar" --held 30
  %(prog)s gauge --range "1100 psi" --accuracy 0.5
  %(prog)s daily --test-pressure "5000 psi" --certified "5000 psi" --certified-ml 100 \\
      --showed "5010 psi" --read-ml 100.4 --left-ml 0
  %(prog)s stress --pressure "3750 psi" --outside 6.9 --inside 6.56
  %(prog)s water --temperature 15 --pressure "232 bar" --kg 115.545
  %(prog)s mark --tested 2006-09-14 --body A123 --suffix +
  %(prog)s read-mark "9 [A1/32] 06"
Exit status: 0 done; 1 the verdict is not pass, or the rig or device is not good; 2 wrong use.
Volumes are in mL (cm3), masses in kg, temperatures in degC; a pressure carries its unit."""


class Command(BaseCommand):
    help = "Hydrostatic test arithmetic: pressures, expansions, verdicts, the rig, marks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.epilog = EXAMPLES
        parser.formatter_class = RawDescriptionHelpFormatter
        kinds = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

        def one(name: str, words: str) -> ArgumentParser:
            made: ArgumentParser = kinds.add_parser(name, help=words, description=words)
            made.add_argument("--format", default="text", choices=["text", "json"])
            return made

        _pressure_options(one("pressure", "test pressure from the working (service) pressure"))
        jacket = one("jacket", "verdict on a water jacket test")
        jacket.add_argument("--total", type=_amount, required=True, help="total expansion, mL")
        jacket.add_argument("--permanent", type=_amount, required=True, help="mL")
        direct = one("direct", "verdict on a direct expansion test")
        direct.add_argument("--forced-in", type=_amount, required=True, help="a, mL")
        direct.add_argument("--expelled", type=_amount, required=True, help="b, mL")
        direct.add_argument("--water", type=_kilograms, required=True, help="kg before the test")
        direct.add_argument(
            "--temperature", type=_degrees, required=True, help="of the water, degC"
        )
        for test in (jacket, direct, one("proof", "verdict on a proof pressure test")):
            _test_options(test)
        _rig_options(one("gauge", "what a gauge may be used for"), one("daily", "the day's check"))
        _physics_options(one("stress", "average wall stress"), one("water", "compression of water"))
        mark = one("mark", "the mark of a retest, as the standards lay it out")
        mark.add_argument("--tested", type=console.day, required=True, help="the day, YYYY-MM-DD")
        mark.add_argument("--body", default="", help="the approved body's number or mark")
        mark.add_argument("--suffix", action="append", default=[], choices=list(marks.SUFFIXES))
        mark.add_argument("--iso", action="store_true", help="year and month, not the US square")
        read = one("read-mark", "read a mark: 9 [A1/32] 06 or 2021/06")
        read.add_argument("text")
        read.add_argument(
            "--not-after", type=console.day, help="the latest day it can be from; today"
        )

    def handle(self, **options: Any) -> None:
        try:
            said, good = _ANSWERS[options["what"]](options)
        except equipment.NotGoodEnough as problem:
            raise CommandError(str(problem)) from problem
        except amounts.HydroProblem as problem:
            raise CommandError(str(problem), returncode=2) from problem
        if options["format"] == "json":
            said = {**said, "caution": " ".join(GENERAL_CAUTION)}
            self.stdout.write(json.dumps(said, ensure_ascii=False, indent=1))
        else:
            self.stdout.write("\n".join(_lines(said)))
            if self.stdout.isatty():
                self.stdout.write("\n" + "\n".join(GENERAL_CAUTION))
        if not good:
            raise SystemExit(1)


_amount = console.figure(least=0)
_kilograms = console.figure(least=Decimal("0.001"))
_degrees = console.figure(most=1000)


def _pressure(text: str) -> amounts.Pressure:
    try:
        return amounts.Pressure.read(text)
    except amounts.HydroProblem as problem:
        raise ArgumentTypeError(str(problem)) from problem


def _pressure_options(parser: ArgumentParser) -> None:
    parser.add_argument("--specification", required=True, help="as stamped, such as DOT-3AL")
    parser.add_argument("--working", type=_pressure, required=True, help='such as "2216 psi"')
    parser.add_argument("--given", type=_pressure, help="the permit's, or as marked")


def _test_options(parser: ArgumentParser) -> None:
    parser.add_argument("--specification", required=True, help="as stamped, such as EN-12245")
    parser.add_argument("--test-pressure", type=_pressure, required=True, help="what is asked")
    parser.add_argument("--reached", type=_pressure, help="what was held; else the test pressure")
    parser.add_argument(
        "--held", type=console.whole(0, 86_400), default=30, help="seconds; 30 unless said"
    )
    parser.add_argument("--dropped", action="store_true", help="it fell during the hold")
    parser.add_argument("--before", type=_pressure, help="the most that was put on beforehand")
    parser.add_argument("--limit", type=_amount, help="per cent, by permit or design standard")
    elastic = parser.add_mutually_exclusive_group()
    elastic.add_argument("--ree", type=_amount, help="rejection elastic expansion as marked, mL")
    elastic.add_argument(
        "--first-elastic", type=_amount, help="of a new 3HT, mL: REE is 1.05 of it"
    )
    parser.add_argument("--outside", type=_amount, help="diameter, in; with the length")
    parser.add_argument("--length", type=_amount, help="in; very small ones may be proof tested")
    parser.add_argument("--plus", action="store_true", help="it carries the plus mark")
    parser.add_argument("--years", type=console.whole(0, 200), help="since it was made")
    parser.add_argument("--fills", type=console.whole(0, 1_000_000), help="pressurisations counted")
    parser.add_argument("--malfunction", default="", help="what of the rig failed")
    parser.add_argument("--leaks", action="store_true", help="through the wall")
    parser.add_argument("--run", type=console.whole(1, 9), default=1, help="2 for the first repeat")


def _rig_options(gauge: ArgumentParser, daily: ArgumentParser) -> None:
    gauge.add_argument("--range", type=_pressure, required=True, help="its full range")
    gauge.add_argument("--accuracy", type=_amount, default=Decimal("0.5"), help="%% of full range")
    daily.add_argument("--test-pressure", type=_pressure, required=True)
    daily.add_argument("--cylinder", default="", help="serial of the calibrated cylinder")
    daily.add_argument("--certified", type=_pressure, required=True, help="its pressure")
    daily.add_argument("--certified-ml", type=_amount, required=True, help="its expansion there")
    daily.add_argument("--showed", type=_pressure, required=True, help="the rig's reading there")
    daily.add_argument("--read-ml", type=_amount, required=True)
    daily.add_argument("--left-ml", type=_amount, required=True, help="after the pressure was off")


def _physics_options(stress: ArgumentParser, water: ArgumentParser) -> None:
    stress.add_argument("--pressure", type=_pressure, required=True)
    stress.add_argument("--outside", type=_amount, required=True, help="diameter, in")
    stress.add_argument("--inside", type=_amount, required=True, help="diameter, in")
    steels = [limit.steel for limit in PLUS_LIMITS]
    stress.add_argument("--steel", choices=steels, help="to hold it against the plus mark's limit")
    stress.add_argument("--specification", choices=STRESS_CAPPED, help="to hold it against its cap")
    stress.add_argument("--service", type=_pressure, help="service pressure, for DOT-3AA")
    stress.add_argument("--tensile", type=_amount, help="least tensile strength, psi")
    stress.add_argument("--yield", type=_amount, help="least yield strength, psi, for DOT-3AL")
    water.add_argument("--temperature", type=_degrees, required=True)
    water.add_argument("--pressure", type=_pressure, required=True)
    water.add_argument("--kg", type=_kilograms, default=Decimal(1), help="at test pressure")


def _test_pressure(options: dict[str, Any]) -> tuple[Said, bool]:
    found = least_test_pressure(
        limits(), options["specification"], options["working"], options["given"]
    )
    return {
        "test pressure": str(found.asked),
        "least": str(found.minimum),
        # Of the exact pressure: of the one rounded up, the check would allow too much.
        "90 % check, at most": str(pre_check_pressure(found.minimum)),
        "repeat after a failure of the rig": str(repeat_pressure(found.minimum)),
        "source": found.rule.source,
        "seen": found.rule.seen,
    }, True


def _jacket(options: dict[str, Any]) -> tuple[Said, bool]:
    found = expansion(options["total"], options["permanent"])
    return _judged(options, found, _expanded(found))


def _direct(options: dict[str, Any]) -> tuple[Said, bool]:
    reached = options["reached"] or options["test_pressure"]
    found = direct_expansion(
        direct_reading(
            forced_in_ml=options["forced_in"],
            expelled_ml=options["expelled"],
            water_kg=options["water"],
            temperature_c=options["temperature"],
            pressure_bar=reached.bar,
        )
    )
    return _judged(options, found.stricter, _corrected(found))


def _proof(options: dict[str, Any]) -> tuple[Said, bool]:
    return _judged(options, None, {})


def _expanded(found: Expansion) -> Said:
    return {
        "total mL": amounts.figure_text(found.total_ml, 3),
        "permanent mL": amounts.figure_text(found.permanent_ml, 3),
        "elastic mL": amounts.figure_text(found.elastic_ml, 3),
        "permanent % of total": amounts.figure_text(found.percent, 4),
    }


def _corrected(found: DirectResult) -> Said:
    said: Said = {
        "correction by IAPWS-95 mL": amounts.figure_text(found.iapws_correction_ml, 1),
        "total by IAPWS-95 mL": amounts.figure_text(found.iapws.total_ml, 1),
        "permanent % by IAPWS-95": amounts.figure_text(found.iapws.percent, 2),
    }
    if found.handbook is not None and found.handbook_correction_ml is not None:
        said |= {
            "correction by the handbook mL": amounts.figure_text(found.handbook_correction_ml, 1),
            "total by the handbook mL": amounts.figure_text(found.handbook.total_ml, 1),
            "permanent % by the handbook": amounts.figure_text(found.handbook.percent, 2),
        }
    return said


def _judged(options: dict[str, Any], found: Expansion | None, first: Said) -> tuple[Said, bool]:
    limit, ree = options["limit"], options["ree"]
    if options["first_elastic"] is not None:
        ree = rejection_expansion_3ht_ml(options["first_elastic"])
    outside, length = options["outside"], options["length"]
    sized = outside is not None and length is not None
    subject = Subject(
        options["test_pressure"],
        limits().acceptance(options["specification"]),
        permit_percent=None if limit is None else Fraction(limit),
        ree_ml=None if ree is None else Fraction(ree),
        plus=options["plus"],
        no_volumetric=sized and is_very_small(Fraction(outside), Fraction(length)),
        years=options["years"],
        fills=options["fills"],
    )
    run = Run(
        options["what"],
        options["reached"] or options["test_pressure"],
        options["held"],
        found,
        dropped=options["dropped"],
        before=options["before"],
        malfunction=options["malfunction"],
        leaks=options["leaks"],
        number=options["run"],
    )
    verdict = judge(subject, run)
    return {**first, **_verdict(verdict)}, verdict.word is Word.PASS


def _verdict(verdict: TestVerdict) -> Said:
    said: Said = {"verdict": str(verdict.word)}
    if verdict.next_pressure is not None:
        said["repeat at"] = str(verdict.next_pressure)
    said["because"] = [
        f"{reason.word}: {reason.says} ({reason.clause}; seen: {reason.seen})"
        for reason in verdict.reasons
    ]
    return said


def _gauge(options: dict[str, Any]) -> tuple[Said, bool]:
    use = equipment.gauge_use(options["range"], options["accuracy"])
    return {
        "error": f"± {use.error}",
        "good from a test pressure of": str(use.lowest_test_pressure),
        "source": "49 CFR 180.205(g)(3)(i); letter 13-0131 (2013-09-24)",
    }, True


def _daily(options: dict[str, Any]) -> tuple[Said, bool]:
    numbers = (Fraction(options[name]) for name in ("certified_ml", "read_ml", "left_ml"))
    check = equipment.DailyCheck(
        options["cylinder"], options["certified"], options["showed"], *numbers
    )
    findings = equipment.daily_check(check, options["test_pressure"])
    good = all(finding.good for finding in findings)
    words = [f"{'good' if f.good else 'NOT GOOD'}: {f.says} ({f.clause})" for f in findings]
    return {"rig": "good" if good else "not good: don't test with it", "because": words}, good


def _stress(options: dict[str, Any]) -> tuple[Said, bool]:
    found = wall_stress_psi(options["pressure"], options["outside"], options["inside"])
    said: Said = {"average wall stress psi": amounts.figure_text(found, 2)}
    if (steel := options["steel"]) is not None:
        kept = plus_allowed(steel, found)
        said["plus mark, by stress"] = f"{'allowed' if kept else 'not allowed'} [secondary]"
    if (specification := options["specification"]) is None:
        return {**said, "source": WALL_STRESS}, True
    cap = stress_cap(specification, options["service"], options["tensile"], options["yield"])
    said |= {
        "at most psi": amounts.figure_text(cap.psi, 2),
        "kept": "yes" if found <= cap.psi else "no",
    }
    return {**said, "source": f"{WALL_STRESS}; {cap.clause}"}, found <= cap.psi


def _water(options: dict[str, Any]) -> tuple[Said, bool]:
    t, bar, kg = options["temperature"], options["pressure"].bar, options["kg"]
    said: Said = {
        "density at 0 bar kg/m3": amounts.figure_text(density_kg_m3(t), 3),
        "shrinkage mL per L": amounts.figure_text(shrinkage_ml_per_l(t, bar), 3),
        "to pressurise a rigid litre mL": amounts.figure_text(extra_ml_per_l(t, bar), 3),
        "correction by IAPWS-95 mL": amounts.figure_text(compression_ml(kg, t, bar), 1),
    }
    if in_handbook(t):
        said["correction by the handbook mL"] = amounts.figure_text(
            handbook_compression_ml(kg, t, bar), 1
        )
    return said, True


def _mark(options: dict[str, Any]) -> tuple[Said, bool]:
    if options["iso"]:
        return {
            "mark": str(marks.iso_mark(options["tested"], options["body"])),
            "caution": marks.CAUTION,
        }, True
    mark = marks.us_mark(options["tested"], options["body"], tuple(options["suffix"]))
    return {
        "mark": str(mark),
        "laid out": list(mark.lines),
        "suffix": [f"{word}: {marks.SUFFIXES[word]}" for word in mark.suffixes],
        "size": marks.US_SIZE,
        "source": "49 CFR 180.213(d)-(f)",
        "caution": marks.CAUTION,
    }, True


def _read_mark(options: dict[str, Any]) -> tuple[Said, bool]:
    if "[" not in options["text"]:
        iso = marks.read_iso_mark(options["text"])
        return {"tested": f"{iso.year}-{iso.month:02d}", "body": iso.body}, True
    found = marks.read_us_mark(options["text"], options["not_after"] or today_anywhere())
    return {
        "tested": f"{found.year}-{found.month:02d}",
        "body": found.body,
        "pressure test": "yes" if found.is_pressure_test else "no",
        "suffix": [f"{word}: {marks.SUFFIXES[word]}" for word in found.suffixes],
    }, True


_ANSWERS: dict[str, Callable[[dict[str, Any]], tuple[Said, bool]]] = {
    "pressure": _test_pressure,
    "jacket": _jacket,
    "direct": _direct,
    "proof": _proof,
    "gauge": _gauge,
    "daily": _daily,
    "stress": _stress,
    "water": _water,
    "mark": _mark,
    "read-mark": _read_mark,
}


def _lines(said: Said) -> list[str]:
    """Return what was found line by line; of a list each entry on its own line."""
    lines = []
    for name, value in said.items():
        if isinstance(value, list):
            lines += [f"{name}:", *(f"  {entry}" for entry in value)] if value else []
        elif value:
            lines.append(f"{name}: {value}")
    return lines
