"""From answers to an outcome: nothing passes that was left out. A4."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.bench.pure.limits import Limit
from servicing.bench.pure.procedure import Procedure
from servicing.bench.pure.tables import read_procedures
from servicing.bench.pure.typed import read_typed
from servicing.bench.pure.units import UNITS
from servicing.bench.pure.verdict import (
    Answer,
    NotAnAnswer,
    Outcome,
    Word,
    limits_for,
    next_attempt,
    outcome_of,
)
from tests.servicing.bench.test_tables import SOUND

MBAR = UNITS["mbar"]
MORE = """
[[procedure.step]]
id = "shell"
form = "damage"
text = "Look for damage."

[[procedure.step]]
id = "disc"
form = "renew"
text = "Renew the disc."
part = "disc"
optional = true

[[procedure.step]]
id = "pack"
form = "act"
text = "Pack it."

[[procedure.step]]
id = "own"
form = "measure"
text = "The maker's figure."
reading = "own"
unit = "mbar"
by_type = true
"""
GOOD = {
    "look": Answer("look", Word.GOOD),
    "leak": Answer("leak", typed=read_typed("1.0", MBAR)),
    "shell": Answer("shell", Word.LEVEL_1),
    "disc": Answer("disc", Word.NOT_APPLICABLE),
    "pack": Answer("pack", Word.DONE),
    "own": Answer("own", typed=read_typed("3", MBAR)),
}
OWN = {"own": Limit(None, Decimal(4), MBAR, "the maker", "maker")}


def procedure() -> Procedure:
    table, problems = read_procedures("masks.toml", SOUND + MORE)
    assert problems == []
    return table.procedures[0]


def outcome(**other: Answer | None) -> Outcome:
    answers = [one for one in {**GOOD, **other}.values() if one is not None]
    limits, _ = limits_for(procedure(), {}, OWN)
    return outcome_of(procedure(), answers, limits)


def test_all_good_passes() -> None:
    found = outcome()
    assert (found.outcome, found.reasons, found.missing) == ("pass", (), ())
    assert found.may_sign
    assert found.verdicts["leak"].passed


@pytest.mark.parametrize("left_out", sorted(GOOD))
def test_whatever_is_left_out_is_listed_and_nothing_passes(left_out: str) -> None:
    found = outcome(**{left_out: None})
    assert found.outcome == ""
    assert [lack.step for lack in found.missing] == [left_out]
    assert not found.may_sign


def test_a_failed_reading_fails_with_its_limit_in_the_reason() -> None:
    found = outcome(leak=Answer("leak", typed=read_typed("1.1", MBAR)))
    assert found.outcome == "fail"
    assert "1.1 mbar is outside the limit: at most 1.0 mbar (a page)." in found.reasons[0]
    assert found.may_sign


def test_not_good_needs_a_note_before_it_can_be_signed() -> None:
    bare = outcome(look=Answer("look", Word.NOT_GOOD, " "))
    assert (bare.outcome, bare.may_sign) == ("fail", False)
    assert [lack.remedy for lack in bare.missing] == ["Write what is not good."]
    noted = outcome(look=Answer("look", Word.NOT_GOOD, "strap torn"), leak=None, pack=None)
    assert (noted.outcome, noted.may_sign) == ("fail", True)
    assert {lack.step for lack in noted.missing} == {"leak", "pack"}
    assert noted.reasons == ("Look at it. Not good: strap torn",)


def test_damage_of_level_3_proposes_to_condemn_and_level_2_fails() -> None:
    three = outcome(shell=Answer("shell", Word.LEVEL_3, "dent"))
    two = outcome(shell=Answer("shell", Word.LEVEL_2, "scratch"))
    assert (three.outcome, three.condemn) == ("fail", True)
    assert (two.outcome, two.condemn) == ("fail", False)
    assert "level 2 (repair or assess): scratch" in two.reasons[0]


def test_a_renewed_part_needs_its_batch() -> None:
    assert outcome(disc=Answer("disc", Word.DONE)).outcome == ""
    assert outcome(disc=Answer("disc", Word.DONE, batch="B7")).outcome == "pass"


def test_without_the_makers_limit_nothing_is_judged() -> None:
    limits, unset = limits_for(procedure(), {}, {})
    assert "ask a manager to enter it" in unset["own"]
    found = outcome_of(procedure(), GOOD.values(), limits)
    assert (found.outcome, [lack.step for lack in found.missing]) == ("", ["own"])
    assert "own" not in found.verdicts


def test_a_types_limit_that_has_become_too_loose_judges_nothing() -> None:
    loose = {**OWN, "leak": Limit(None, Decimal(2), MBAR, "the maker", "maker")}
    limits, unset = limits_for(procedure(), {}, loose)
    assert "leak" not in limits
    assert "can only be stricter" in unset["leak"]


@pytest.mark.parametrize(
    "strange",
    [
        Answer("nose", Word.GOOD),
        Answer("look", Word.LEVEL_1),
        Answer("pack", Word.NOT_APPLICABLE),
        Answer("leak", Word.NOT_APPLICABLE),
        Answer("look", typed=read_typed("1", MBAR)),
        Answer("leak", typed=read_typed("1", UNITS["kg"])),
    ],
)
def test_an_answer_that_cannot_be_is_refused(strange: Answer) -> None:
    with pytest.raises(NotAnAnswer):
        outcome(**{strange.step: strange})


def test_two_answers_to_one_step_are_refused() -> None:
    with pytest.raises(NotAnAnswer, match="twice answered"):
        outcome_of(procedure(), [GOOD["look"], GOOD["look"]], {})


@given(st.decimals("-10", "10", places=2, allow_nan=False), st.decimals("0", "5", places=2))
def test_a_reading_further_inside_never_turns_pass_into_fail(at: Decimal, less: Decimal) -> None:
    near = outcome(leak=Answer("leak", typed=read_typed(f"{at}00", MBAR)))
    inside = outcome(leak=Answer("leak", typed=read_typed(f"{at - less}00", MBAR)))
    assert near.outcome == "fail" or inside.outcome == "pass"


def test_attempts_count_on_and_failed_ones_keep_their_number() -> None:
    assert next_attempt([]) == 1
    assert next_attempt([1, 2]) == 3
