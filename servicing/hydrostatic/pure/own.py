"""A test done in one's own shop: raw readings in, a verdict and a whole record out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from servicing.hydrostatic.pure import content, house
from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.equipment import DailyCheck, Finding, daily_check
from servicing.hydrostatic.pure.expansion import (
    DirectResult,
    Expansion,
    direct_expansion,
    direct_reading,
    expansion,
)
from servicing.hydrostatic.pure.limits import Limits
from servicing.hydrostatic.pure.rig import Rig
from servicing.hydrostatic.pure.verdict import Run, TestVerdict, Word, judge
from servicing.ledger.pure.entry import Reading


@dataclass(frozen=True, slots=True)
class DirectRaw:
    """What a direct expansion test reads off: mL, kg, degC. See `DirectReading`."""

    forced_in_ml: Decimal
    expelled_ml: Decimal
    water_kg: Decimal
    temperature_c: Decimal


@dataclass(frozen=True, slots=True)
class RawTest:
    """A test as the operator reads it off. jacket: (total, permanent) in mL."""

    tested_on: date
    by: str
    method: str
    reached: Pressure
    held_s: int
    jacket: tuple[Decimal, Decimal] | None = None
    direct: DirectRaw | None = None
    check: DailyCheck | None = None
    rig: Rig = Rig()  # noqa: RUF009 (frozen)
    limit_percent: Decimal | None = None
    before: Pressure | None = None
    by_eye: Word = Word.PASS
    by_eye_words: str = ""
    leaks: bool = False
    dropped: bool = False
    malfunction: str = ""
    number: int = 1
    earlier_on: date | None = None
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """Our verdict on a raw test, its figures by name, and what the record still lacks.

    rig_not_known: what nobody said of gauge and reader, so that it was not judged.
    """

    verdict: TestVerdict
    readings: tuple[Reading, ...]
    lacks: tuple[str, ...]
    rig_not_known: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """The verdict with its reasons in one line."""
        return house.verdict_words(self.verdict)


def judged(raw: RawTest, known: house.Known, limits: Limits, described: content.Facts) -> Judged:
    """Return the verdict on a test and the record it makes.

    described: what is known of the cylinder in words, for the record. Raises HydroProblem where
    the day's check was not good, a reading is missing or can't be.
    """
    subject = house.subject_of(known, raw.tested_on, raw.limit_percent, limits)
    if raw.method != "proof":
        _hold_to_the_check(raw, subject.test_pressure)
    direct = None if raw.method != "direct" else _direct(raw)
    found = _expansion(raw, direct)
    rig = _rig(raw.rig, subject.test_pressure, found)
    verdict = judge(subject, _run(raw, found))
    readings = (
        *house.readings_of(
            method=raw.method,
            reached=raw.reached,
            held_s=raw.held_s,
            found=found,
            subject=subject,
            limit_percent=verdict.limit_percent,
        ),
        *_direct_readings(raw, direct),
        *_other_readings(raw),
        *rig,
    )
    return Judged(
        verdict,
        readings,
        _lacks(raw, verdict, found, known, described),
        raw.rig.not_known(volumetric=found is not None),
    )


def _rig(rig: Rig, test_pressure: Pressure, found: Expansion | None) -> tuple[Reading, ...]:
    """Return what is found about gauge and reader, for the record; refuse what is not good."""
    looked = {
        "pressure gauge": rig.gauge(test_pressure),
        "expansion reader": rig.reader(found.total_ml) if found else (),
    }
    _refuse_bad([finding for findings in looked.values() for finding in findings])
    return tuple(
        Reading(name, "; ".join(f"{each.says} ({each.clause})" for each in findings))
        for name, findings in looked.items()
        if findings
    )


def _hold_to_the_check(raw: RawTest, test_pressure: Pressure) -> None:
    """Refuse to judge what a rig read that was not found good on the day."""
    if raw.check is None:
        raise HydroProblem("Put the calibrated cylinder through the rig first and enter the check.")
    _refuse_bad(daily_check(raw.check, test_pressure))


def _refuse_bad(findings: Iterable[Finding]) -> None:
    if bad := [finding for finding in findings if not finding.good]:
        words = "; ".join(f"{finding.says} [{finding.clause}]" for finding in bad)
        raise HydroProblem(f"The rig is not good, so don't test with it: {words}.")


def _direct(raw: RawTest) -> DirectResult:
    if raw.direct is None:
        raise HydroProblem("A direct test needs water forced in and expelled, its mass and warmth.")
    return direct_expansion(
        direct_reading(
            forced_in_ml=raw.direct.forced_in_ml,
            expelled_ml=raw.direct.expelled_ml,
            water_kg=raw.direct.water_kg,
            temperature_c=raw.direct.temperature_c,
            pressure_bar=raw.reached.bar,
        )
    )


def _expansion(raw: RawTest, direct: DirectResult | None) -> Expansion | None:
    if direct is not None:
        return direct.stricter
    if raw.method == "proof":
        return None
    if raw.jacket is None:
        raise HydroProblem("A jacket test needs total and permanent expansion.")
    return expansion(*raw.jacket)


def _run(raw: RawTest, found: Expansion | None) -> Run:
    return Run(
        raw.method,
        raw.reached,
        raw.held_s,
        found,
        dropped=raw.dropped,
        before=raw.before,
        malfunction=raw.malfunction,
        leaks=raw.leaks,
        number=raw.number,
        by_eye=raw.by_eye,
        by_eye_words=raw.by_eye_words,
    )


def _direct_readings(raw: RawTest, found: DirectResult | None) -> tuple[Reading, ...]:
    if raw.direct is None or found is None:
        return ()
    read, iapws = raw.direct, found.iapws
    pairs = [
        ("water forced in", str(read.forced_in_ml), "mL"),
        ("water expelled", str(read.expelled_ml), "mL"),
        ("water before the test", str(read.water_kg), "kg"),
        ("water temperature", str(read.temperature_c), "°C"),
        ("correction by IAPWS-95", figure_text(found.iapws_correction_ml, 2), "mL"),
        ("permanent by IAPWS-95", figure_text(iapws.percent, 4), "%"),
    ]
    if found.handbook is not None and found.handbook_correction_ml is not None:
        pairs += [
            ("correction by the handbook", figure_text(found.handbook_correction_ml, 2), "mL"),
            ("permanent by the handbook", figure_text(found.handbook.percent, 4), "%"),
        ]
    return tuple(Reading(*each) for each in pairs)


def _other_readings(raw: RawTest) -> tuple[Reading, ...]:
    pairs = [
        ("visual inspection", " ".join(filter(None, (raw.by_eye, raw.by_eye_words)))),
        ("leaks through the wall", "yes" if raw.leaks else ""),
        ("pressure before the test", str(raw.before or "")),
        ("failure of the rig", raw.malfunction),
        ("run of this test", str(raw.number) if raw.number > 1 else ""),
        ("earlier test", str(raw.earlier_on or "")),
        ("calibrated cylinder", _check_words(raw.check)),
        ("mark", raw.mark),
    ]
    return tuple(Reading(name, text) for name, text in pairs if text)


def _check_words(check: DailyCheck | None) -> str:
    """Return the calibration record of the day (49 CFR 180.215(b)(1)) in one line."""
    if check is None:
        return ""
    return (
        f"{check.cylinder}: certified {figure_text(check.certified_ml, 3)} mL at "
        f"{check.certified_pressure}; read {figure_text(check.read_ml, 3)} mL at "
        f"{check.shown_pressure}, {figure_text(check.left_ml, 3)} mL stayed"
    )


def _lacks(
    raw: RawTest,
    verdict: TestVerdict,
    found: Expansion | None,
    known: house.Known,
    described: content.Facts,
) -> tuple[str, ...]:
    """Return what the standard's record asks for and this one doesn't say."""
    measured = {} if found is None else {"total": "yes", "elastic": "yes", "permanent": "yes"}
    said = content.Facts(
        tested_on=str(raw.tested_on),
        serial=described.serial,
        specification=known.specification,
        marked_pressure=described.marked_pressure,
        dimensions=described.dimensions,
        maker=described.maker,
        owner=described.owner,
        by_eye=raw.by_eye,
        test_pressure=str(raw.reached),
        percent="yes" if measured else "",
        disposition=verdict.word,
        reason=verdict.governing.says,
        operator=raw.by,
        calibration=_check_words(raw.check),
        earlier_test=str(raw.earlier_on or ""),
        method=raw.method,
        held=str(raw.held_s),
        mark=raw.mark,
        **measured,
    )
    asked = content.US_RECORD if content.is_us(known.specification) else content.ISO_RECORD
    lacks = [f"{each.words} ({each.clause})" for each in content.not_said(said, asked)]
    if raw.number > 1 and raw.earlier_on is None:
        lacks.append("date of the earlier test (49 CFR 180.215(b)(2))")
    return tuple(lacks)
