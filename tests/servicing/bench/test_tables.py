"""Tables of procedures: what is wrong is named by file, line, key and remedy."""

import json
import re

import pytest

from servicing.bench.pure.procedure import Form
from servicing.bench.pure.tables import Known, procedure_from_text, read_procedures

SOUND = """\
table = "masks"
title = "Masks"
caution = "Check it."

[[procedure]]
id = "mask-test"
title = "Test of a mask"
task = "tightness-test"
kinds = ["mask"]
source = "a page"
edition = "2026"
seen = "practice"
checked_on = 2026-11-25
instruments = ["bench"]

[[procedure.step]]
id = "look"
form = "check"
text = "Look at it."

[[procedure.step]]
id = "leak"
form = "measure"
text = "Read the leak."
reading = "leak"
unit = "mbar"
at_most = 1.0
seconds = 60
plausible = [0, 7.5]
instrument = "timer"
"""


def test_a_sound_table_is_read_and_comes_back_from_its_canonical_text() -> None:
    table, problems = read_procedures("masks.toml", SOUND)
    assert problems == []
    (procedure,) = table.procedures
    assert [step.form for step in procedure.steps] == [Form.CHECK, Form.MEASURE]
    assert procedure.needs == ("bench", "timer")
    leak = procedure.steps[1].measure
    assert leak is not None
    assert leak.limit is not None
    assert str(leak.limit.high) == "1.0"
    assert procedure_from_text("masks", procedure.text) == procedure
    assert json.loads(procedure.text)["step"][1]["at_most"] == "1.0"


def test_the_hash_is_of_the_content_and_not_of_its_layout() -> None:
    before = read_procedures("a.toml", SOUND)[0].procedures[0]
    moved = SOUND.replace('id = "mask-test"\n', "").replace(
        'kinds = ["mask"]\n', 'kinds = [ "mask" ]  # all of them\nid = "mask-test"\n'
    )
    assert read_procedures("b.toml", moved)[0].procedures[0].content_hash == before.content_hash
    finer = SOUND.replace("at_most = 1.0", "at_most = 1.00")
    assert read_procedures("c.toml", finer)[0].procedures[0].content_hash != before.content_hash


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('table = "masks"\n', "", "column table: is missing"),
        ('task = "tightness-test"', 'taks = "tightness-test"', "did you mean task?"),
        ('kinds = ["mask"]', 'kinds = ["maks"]', ":9: column kinds: \"['maks']\" must be a list"),
        ("checked_on = 2026-11-25", 'checked_on = "today"', ":13: column checked_on: 'today'"),
        ('seen = "practice"', 'seen = "heard"', ":12: column seen: 'heard' must be one of text"),
        ('source = "a page"\n', "", "column source: is missing"),
        ('form = "check"', 'form = "smell"', ":18: column form: 'smell' must be one of check"),
        ('unit = "mbar"', 'unit = "torr"', "column unit: 'torr' is no unit"),
        ("at_most = 1.0\n", "", "column by_type: leaves the limit open"),
        ("at_most = 1.0", "at_most = 1.0\nless_than = 1.0", "say the same edge twice"),
        ("at_most = 1.0", "at_most = 1.0\nat_least = 2", "No value lies from 2 to 1.0 mbar"),
        ("at_most = 1.0", 'at_most = "1.0"', "column at_most: '1.0' must be a number"),
        ("at_most = 1.0", "by_type = true\nat_most = 1.0", "one of the two"),
        ("at_most = 1.0", 'at_most = 90\nshare_of = "working_pressure_bar"', "must be bar"),
        ("at_most = 1.0", "at_most = nan", "column at_most: 'NaN' must be a number"),
        ("seconds = 60", "seconds = 0", "column seconds: '0' must be a whole number"),
        ("plausible = [0, 7.5]", "plausible = [7.5, 0]", "must rise"),
        ('id = "leak"', 'id = "look"', ":22: column id: 'look' stands in an earlier step"),
        ('text = "Look at it."', 'text = "Look."\nat_most = 3', "belongs to a step that measures"),
        ('form = "check"', 'form = "renew"', "column part: is missing"),
        ('instrument = "timer"', 'source = "b"', "and source belong together"),
        (
            'form = "check"',
            'form = "renew"\npart = "disc"\nrenews = "disk-renewal"',
            ":20: column renews: 'disk-renewal' is no task that is known; did you mean disc-",
        ),
        (
            'text = "Look at it."',
            'text = "Look."\nwhen = { colour = ["red"] }',
            ":20: column when: 'colour' is nothing that can be asked; write one of kind, const",
        ),
        (
            'text = "Look at it."',
            'text = "Look."\nunless = { construction = ["type-9"] }',
            "column unless: \"['type-9']\" type-9 is no word for construction; write some of",
        ),
        (
            'text = "Look at it."',
            'text = "Look."\nwhen = { kind = ["cylinder"] }',
            "cylinder is no word for kind; write some of mask",
        ),
        (
            'text = "Look at it."',
            'text = "Look."\nwhen = { tables = ["cannada"] }',
            "cannada is no word for tables; write some of canada",
        ),
        ('text = "Look at it."', 'text = "Look."\nwhen = []', "must be tests in braces"),
        ('text = "Look at it."', 'text = "Look."\nwhen = { kind = "mask" }', "in brackets"),
        (
            'instruments = ["bench"]',
            'instruments = ["bench"]\nunless = { tables = ["cannada"] }',
            ":15: column unless: \"['cannada']\" cannada is no word",
        ),
        ('form = "check"', 'form = "check"\nrenews = "disc-renewal"', "step that renews a part"),
        ("[[procedure.step]]\nid", "[[procedure.step\nid", "can't be read as TOML"),
    ],
)
def test_a_fault_is_named_with_its_line_and_its_remedy(old: str, new: str, says: str) -> None:
    assert old in SOUND
    known = Known(tables={"canada"})
    table, problems = read_procedures("masks.toml", SOUND.replace(old, new, 1), known)
    assert says in "\n".join(map(str, problems))
    assert all(str(problem).startswith("masks.toml:") for problem in problems)
    assert table.procedures == () or "table" in says


def test_two_procedures_of_one_id_are_refused_and_every_fault_is_told() -> None:
    body = SOUND[SOUND.index("[[procedure]]") :]
    twice = SOUND + "\n" + body.replace('unit = "mbar"', 'unit = "torr"')
    problems = read_procedures("masks.toml", twice)[1]
    assert [(problem.line, problem.column) for problem in problems] == [(53, "unit"), (33, "id")]
    assert "stands already on line 5" in problems[1].remedy


def test_a_procedure_of_which_every_step_may_not_apply_is_refused() -> None:
    """With no step left there would be nothing to fail, and so it would pass."""
    all_if = re.sub(r"(?m)^(text = .*)$", r'\1\nwhen = { kind = ["mask"] }', SOUND)
    (problem,) = read_procedures("masks.toml", all_if)[1]
    assert "at least one must always be asked" in str(problem)


def test_when_a_step_applies_is_part_of_its_version() -> None:
    when = 'text = "Look at it."\nwhen = { breathing = ["positive-pressure"] }'
    before = read_procedures("a.toml", SOUND)[0].procedures[0]
    after = read_procedures("a.toml", SOUND.replace('text = "Look at it."', when))[0].procedures[0]
    assert after.content_hash != before.content_hash
    assert procedure_from_text("masks", after.text) == after
    assert after.steps[0].applies.when == (("breathing", frozenset({"positive-pressure"})),)
