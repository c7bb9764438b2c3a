"""Fill or do not fill: each reason with its clause, the worst first."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.due.pure.obligations import StandingWord
from servicing.filling.pure.may_fill import (
    Owed,
    Subject,
    Weight,
    may_fill,
    several_items,
    too_full,
    unknown_code,
)
from servicing.rules.pure.bars import Bars

TODAY = date(2026, 11, 25)
ADR = "ADR 4.1.6.10 (2019): no filling once due"
CFR = "49 CFR 180.205(c)"
P200 = "UN P200(4): working pressure at 15 °C at most two thirds of test pressure"
OUR_OWN = "due/README 7: undetermined counts as not ready, never as fine"


def owed(task: str, due_on: date | None, counted_from: str = "record", **more: Any) -> Owed:
    soon_on = due_on - timedelta(days=30) if due_on else None
    late_by = timedelta(days=counted_from not in ("event", "failure"))
    return Owed(
        task,
        due_on,
        soon_on,
        due_on and due_on + late_by,
        counted_from,
        jurisdiction="general",
        rule=f"r-{task}",
        source="S 1",
        **more,
    )


RETEST = owed("hydrostatic-retest", date(2028, 5, 31))
GOOD = Subject(
    tag="00123",
    kind="cylinder",
    today=TODAY,
    standing=StandingWord.IN_SERVICE,
    owed=(RETEST,),
    working_pressure_bar=Decimal("300.00"),
    test_pressure_bar=Decimal("450.00"),
)
COMPRESSOR = Subject(
    tag="P1",
    kind="compressor",
    today=TODAY,
    standing=StandingWord.IN_SERVICE,
    owed=(owed("air-quality-test", date(2027, 1, 10)),),
)


def test_a_cylinder_marked_for_oxygen_takes_no_air_however_good_it_is() -> None:
    answer = may_fill(replace(GOOD, for_oxygen=True), COMPRESSOR)
    assert not answer.fill
    assert [reason.word for reason in answer.reasons] == ["For oxygen, not air"]


def test_a_cylinder_with_nothing_against_it_is_filled_to_its_working_pressure() -> None:
    found = may_fill(GOOD, COMPRESSOR)
    assert found.fill
    assert found.fill_to_bar == 300
    assert found.worst is None
    assert not found.soon
    assert may_fill(GOOD, COMPRESSOR, Decimal(200)).fill_to_bar == 200


@pytest.mark.parametrize(
    ("change", "weight", "word", "source"),
    [
        ({"kind": "mask"}, Weight.NOT_A_CYLINDER, "Not a cylinder", OUR_OWN),
        (
            {"standing": StandingWord.CONDEMNED, "owed": (), "failed_task": "hydrostatic-retest"},
            Weight.CONDEMNED,
            "Condemned",
            "49 CFR 180.205(j)",
        ),
        (
            {"standing": StandingWord.OUT_OF_SERVICE, "failed_task": "internal-inspection"},
            Weight.OUT_OF_SERVICE,
            "Internal inspection failed",
            "ADR 4.1.6.11 (2019)",
        ),
        (
            {"standing": StandingWord.OUT_OF_SERVICE, "failed_task": "quarantine"},
            Weight.OUT_OF_SERVICE,
            "Out of service",
            "due/README 6",
        ),
        ({"standing": None}, Weight.UNDETERMINED, "Not known", OUR_OWN),
        ({"owed": ()}, Weight.UNDETERMINED, "No rule known", OUR_OWN),
        (
            {"owed": (owed("hydrostatic-retest", date(2026, 10, 31)),)},
            Weight.RETEST_OVERDUE,
            "Retest overdue",
            ADR,
        ),
        (
            {"owed": (owed("hydrostatic-retest", None, ""),)},
            Weight.UNDETERMINED,
            "Hydrostatic retest not known",
            OUR_OWN,
        ),
        (
            {"owed": (RETEST, owed("service-life", date(2026, 11, 24), "made"))},
            Weight.LIFE_OVER,
            "Service life over",
            CFR,
        ),
        (
            {"owed": (RETEST, owed("internal-inspection", date(2026, 11, 24)))},
            Weight.OVERDUE,
            "Internal inspection overdue",
            "ISO 18119:2018, intervals",
        ),
        (
            {"owed": (owed("hydrostatic-retest", TODAY, "event"),)},
            Weight.AFTER_EVENT,
            "Hydrostatic retest due",
            "49 CFR 180.205(d)",
        ),
        (
            {"owed": (RETEST, owed("service-life", TODAY, "event"))},
            Weight.LIFE_OVER,
            "Service life over",
            "49 CFR 180.205(i)(1)(v) of 2015, now (j): 4380 fillings",
        ),
        (
            {"working_pressure_bar": None},
            Weight.RATING_UNKNOWN,
            "Working pressure unknown",
            OUR_OWN,
        ),
        (
            {"test_pressure_bar": Decimal(300)},
            Weight.ABOVE_RATING,
            "Test pressure too low",
            P200,
        ),
    ],
)
def test_each_reason_bars_the_filling(
    change: dict[str, object], weight: Weight, word: str, source: str
) -> None:
    found = may_fill(replace(GOOD, **change), COMPRESSOR)  # type: ignore[arg-type]
    assert not found.fill, source
    assert found.fill_to_bar is None, source
    assert [(reason.weight, reason.word) for reason in found.reasons] == [(weight, word)], source
    assert found.reasons[0].source
    assert found.reasons[0].sentence.endswith(".")


def test_the_due_day_itself_is_the_last_good_day() -> None:
    last = may_fill(replace(GOOD, owed=(owed("hydrostatic-retest", TODAY),)), COMPRESSOR)
    assert last.fill, "due/README 7"
    assert [o.task for o in last.soon] == ["hydrostatic-retest"]
    late = replace(GOOD, owed=(owed("hydrostatic-retest", TODAY - timedelta(days=1)),))
    assert not may_fill(late, COMPRESSOR).fill, ADR


def test_what_was_never_done_is_wanted_before_the_first_filling_on_the_first_day_too() -> None:
    never = owed("filling-station-inspection", TODAY, "at-once")
    found = may_fill(replace(GOOD, owed=(RETEST, never)), COMPRESSOR)
    assert [reason.word for reason in found.reasons] == ["Filling station inspection not done"]
    untested = replace(COMPRESSOR, owed=(owed("air-quality-test", TODAY, "at-once"),))
    assert [reason.word for reason in may_fill(GOOD, untested).reasons] == ["Air of P1 not known"]


@pytest.mark.parametrize(
    ("wanted", "fill"), [("299", True), ("300", True), ("300.01", False), ("330", False)]
)
def test_nobody_fills_above_the_working_pressure(wanted: str, fill: bool) -> None:
    found = may_fill(GOOD, COMPRESSOR, Decimal(wanted))
    assert found.fill == fill, P200
    assert fill or found.reasons[0].word == "Only 300 bar"


@pytest.mark.parametrize(
    ("working", "test"), [("153", "255"), ("207", "310"), ("310", "518"), ("200", "300")]
)
def test_the_usual_pairs_of_pressures_pass(working: str, test: str) -> None:
    pair = {"working_pressure_bar": Decimal(working), "test_pressure_bar": Decimal(test)}
    assert may_fill(replace(GOOD, **pair), COMPRESSOR).fill, P200  # type: ignore[arg-type]


def test_a_test_pressure_that_nobody_knows_is_not_held_against_it() -> None:
    assert may_fill(replace(GOOD, test_pressure_bar=None), COMPRESSOR).fill


@pytest.mark.parametrize(
    ("compressor", "word"),
    [
        (replace(COMPRESSOR, standing=StandingWord.CONDEMNED), "Compressor P1 condemned"),
        (replace(COMPRESSOR, standing=StandingWord.OUT_OF_SERVICE), "Compressor P1 out of service"),
        (replace(COMPRESSOR, standing=None), "Compressor P1 not known"),
        (replace(COMPRESSOR, owed=()), "Air of P1 not known"),
        (replace(COMPRESSOR, owed=(owed("air-quality-test", None, ""),)), "Air of P1 not known"),
        (
            replace(COMPRESSOR, owed=(owed("air-quality-test", date(2026, 11, 24)),)),
            "Air test overdue",
        ),
        (
            replace(COMPRESSOR, owed=(owed("air-quality-test", TODAY, "event"),)),
            "Air test overdue",
        ),
    ],
)
def test_bad_air_bars_every_filling(compressor: Subject | None, word: str) -> None:
    found = may_fill(GOOD, compressor)
    assert found.worst, "EN 12021, annex; HSG53: air tested at least every three months"
    assert found.worst.weight is Weight.COMPRESSOR
    assert found.worst.word == word


def test_without_a_compressor_there_is_no_verdict_on_a_good_cylinder_and_no_leave_to_fill() -> None:
    found = may_fill(GOOD, None)
    assert found.open
    assert not found.fill
    assert found.fill_to_bar is None
    # What bars it whichever compressor fills is said at once, and first.
    bad = may_fill(replace(GOOD, standing=StandingWord.CONDEMNED), None)
    assert bad.worst
    assert bad.worst.weight is Weight.CONDEMNED
    assert not bad.open


def test_what_only_warns_of_the_compressor_is_said_and_bars_nothing() -> None:
    change = owed("filter-change", date(2026, 1, 1), bars=Bars.NOTHING, seen="practice")
    found = may_fill(GOOD, replace(COMPRESSOR, owed=(*COMPRESSOR.owed, change)))
    (warning,) = found.warns
    assert found.fill
    assert warning.sentence == (
        "Compressor P1: Filter change was due on 1 Jan 2026; that bars no filling."
    )
    assert warning.source == "r-filter-change: S 1 (seen: practice)"


def test_nothing_is_filled_from_a_compressor_that_its_law_bars() -> None:
    late = owed("filling-station-inspection", date(2026, 1, 1))
    found = may_fill(GOOD, replace(COMPRESSOR, owed=(*COMPRESSOR.owed, late)))
    assert found.worst is not None, "RD 809/2021, ITC EP-5, article 11.1"
    assert found.worst.word == "Filling station inspection of P1"
    assert found.worst.source == "r-filling-station-inspection: S 1"


def test_a_row_that_bars_use_alone_does_not_stand_in_the_way_of_filling() -> None:
    debts = (RETEST, owed("pressure-check", date(2026, 1, 1), bars=Bars.USE, seen="secondary"))
    found = may_fill(replace(GOOD, owed=debts), COMPRESSOR)
    assert found.fill, "MSC.1/Circ.1432, weekly"
    assert [warning.sentence for warning in found.warns] == [
        "Pressure check was due on 1 Jan 2026; that bars no filling. "
        "It is not to be used before that is done."
    ]


def test_a_row_that_only_warns_hides_no_later_one_that_bars() -> None:
    first = owed("external-inspection", date(2026, 1, 1), bars=Bars.NOTHING)
    later = owed("external-inspection", date(2026, 6, 1), bars_by="the law 5")
    found = may_fill(replace(GOOD, owed=(RETEST, first, later)), COMPRESSOR)
    assert [reason.source for reason in found.reasons] == [
        "r-external-inspection: S 1; it bars by the law 5"
    ]
    assert found.warns == ()


def test_a_look_that_nobody_wrote_down_is_excused_by_name_for_one_period() -> None:
    excused_until = TODAY + timedelta(days=365)
    look = owed("internal-inspection", date(2016, 4, 1), "made", excused_until=excused_until)
    found = may_fill(replace(GOOD, owed=(RETEST, look)), COMPRESSOR)
    assert found.fill
    assert [warning.sentence for warning in found.warns] == [
        "Internal inspection: none is on record. Enter the last one from its papers, or have it "
        "done; from 26 Nov 2027 it bars filling."
    ]
    for day, fill in ((excused_until, True), (excused_until + timedelta(days=1), False)):
        asked = replace(GOOD, owed=(RETEST, look), today=day)
        assert may_fill(asked, replace(COMPRESSOR, today=TODAY)).fill is fill


def test_a_look_that_bars_no_filling_says_so_and_names_no_day_from_which_it_would() -> None:
    day = date(2029, 5, 28)
    told = {"bars": Bars.USE, "seen": "secondary", "excused_until": day}
    look = owed("external-inspection", None, "", **told)
    found = may_fill(replace(GOOD, owed=(RETEST, look)), COMPRESSOR)
    assert [warning.sentence for warning in found.warns] == [
        "External inspection: no record and no made date to count from. Enter what is known of "
        "it. It is not to be used before that is done."
    ]
    law = owed("external-inspection", date(2020, 1, 1), "made", excused_until=day)
    both = may_fill(replace(GOOD, owed=(RETEST, look, law)), COMPRESSOR)
    assert ["from 29 May 2029 it bars filling" in w.sentence for w in both.warns] == [True]


def test_what_happened_is_not_hidden_by_an_excused_look() -> None:
    look = owed("internal-inspection", date(2016, 4, 1), "made", excused_until=date(2027, 11, 25))
    smelt = owed("internal-inspection", TODAY, "event", event="contamination")
    found = may_fill(replace(GOOD, owed=(RETEST, look, smelt)), COMPRESSOR)
    assert [reason.weight for reason in found.reasons] == [Weight.AFTER_EVENT]


def test_all_reasons_are_given_and_the_worst_comes_first() -> None:
    bad = replace(
        GOOD,
        standing=StandingWord.OUT_OF_SERVICE,
        failed_task="external-inspection",
        working_pressure_bar=None,
        owed=(
            owed("external-inspection", None, ""),
            owed("internal-inspection", date(2026, 9, 1)),
            owed("hydrostatic-retest", date(2026, 8, 1)),
            owed("service-life", date(2026, 7, 1), "made"),
        ),
    )
    found = may_fill(bad, None)
    assert [reason.weight for reason in found.reasons] == [
        Weight.LIFE_OVER,
        Weight.OUT_OF_SERVICE,
        Weight.RETEST_OVERDUE,
        Weight.OVERDUE,
        Weight.UNDETERMINED,
        Weight.RATING_UNKNOWN,
        Weight.NO_COMPRESSOR,
    ]
    assert found.worst
    assert found.worst.on == date(2026, 7, 1)
    assert "r-service-life: S 1" in found.worst.source


def test_codes_that_name_nothing_or_too_much_are_a_no() -> None:
    for found in (unknown_code("0012X"), several_items("777")):
        assert not found.fill
        assert found.worst
        assert found.worst.weight is Weight.UNKNOWN_CODE
    assert "0012X" in unknown_code("0012X").reasons[0].sentence


def test_a_reading_that_is_too_high_says_how_far_to_let_it_down() -> None:
    reason = too_full(Decimal("305"), Decimal("15.0"), 300.0, "working pressure at 15 °C")
    assert reason.sentence == (
        "305 bar at 15 °C is more than its working pressure at 15 °C allows. Let it down to "
        "300 bar at that temperature, then log what the gauge shows."
    )


DEBTS = st.lists(
    st.builds(
        owed,
        st.sampled_from(["hydrostatic-retest", "internal-inspection", "service-life"]),
        st.none() | st.dates(date(2024, 1, 1), date(2030, 1, 1)),
        st.sampled_from(["record", "made", "event", "failure", "at-once"]),
    ),
    max_size=4,
)


@given(debts=DEBTS, more=DEBTS, standing=st.sampled_from([None, *StandingWord]))
def test_another_debt_never_turns_a_no_into_a_yes(
    debts: list[Owed], more: list[Owed], standing: StandingWord | None
) -> None:
    few = replace(GOOD, owed=(RETEST, *debts), standing=standing)
    many = replace(few, owed=(*few.owed, *more))
    assert may_fill(few, COMPRESSOR).fill or not may_fill(many, COMPRESSOR).fill


@given(debts=DEBTS, days=st.integers(0, 3000))
def test_waiting_never_turns_a_no_into_a_yes(debts: list[Owed], days: int) -> None:
    now = replace(GOOD, owed=(RETEST, *debts))
    later = replace(now, today=TODAY + timedelta(days=days))
    assert may_fill(now, COMPRESSOR).fill or not may_fill(later, COMPRESSOR).fill
