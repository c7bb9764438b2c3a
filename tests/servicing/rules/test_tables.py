"""Rule tables that can't be read: each fault named by file, line and key, with what to do."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from itertools import combinations
from operator import itemgetter
from pathlib import Path
from typing import Any

import pytest

from registry.lists.pure.problems import Problem
from servicing.rules.pure.clocks import Clock, Late
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.keys import FORMS, NEEDED, OPTIONAL
from servicing.rules.pure.rule import Basis, Condition, Level, OneOf, Range
from servicing.rules.pure.tables import (
    canonical_row,
    read_table,
    row_faults,
    rule_from_row,
)
from tests.followed import with_included

FILES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "rules").glob("*.toml"))
HEAD = 'table = "t"\ntitle = "A table"\njurisdiction = "XX"\ncaution = "Check it."\n'
ROW = {
    "id": '"mask-yearly"',
    "task": '"flow-test"',
    "level": '"maker"',
    "when": '{ kind = ["mask"] }',
    "every": '"P1Y"',
    "from": '"made"',
    "source": '"a page"',
    "seen": '"practice"',
}
LIFE = {"task": '"service-life"', "every": None, "life": '"P15Y"'}
EVENTS = {"every": None, "from": None, "after": '["use"]'}
COUNTS = {"every": None, "from": None, "counts": '"fill"', "limit": "3"}
ROW_LINE = 6


def toml(changes: Mapping[str, str | None], head: str = HEAD) -> str:
    """Return a table of one row, its keys changed, added, or, where None, left out."""
    row = {key: value for key, value in {**ROW, **changes}.items() if value is not None}
    return head + "\n[[rule]]\n" + "".join(f"{key} = {value}\n" for key, value in row.items())


def problems(text: str) -> list[Problem]:
    return read_table("tables/a.toml", text)[1]


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_every_table_of_the_fixtures_reads_without_a_problem(path: Path) -> None:
    table, found = read_table(path.name, path.read_text("utf-8"))
    assert found == []
    assert table.name == path.stem
    assert len(table.rules) == path.read_text("utf-8").count("\n[[rule]]\n")
    assert all(rule.source and rule.seen for rule in table.rules)


def test_no_rule_id_stands_in_two_tables_of_the_fixtures() -> None:
    ids = [rule.id for path in FILES for rule in read_table("", path.read_text("utf-8"))[0].rules]
    assert {path.stem for path in FILES} >= {"us-cylinders", "iso-en-cylinders"}
    assert sorted(set(ids)) == sorted(ids)


def test_every_table_that_is_included_is_there_and_includes_none_itself() -> None:
    tables = {path.stem: read_table("", path.read_text("utf-8"))[0] for path in FILES}
    for table in tables.values():
        for name in table.includes:
            assert name in tables, table.name
            assert tables[name].includes == (), table.name


def test_what_is_included_holds_with_the_tables_own_rows_and_keeps_its_name() -> None:
    one = read_table("a.toml", toml({}, head='includes = ["u"]\n' + HEAD))[0]
    other = read_table("b.toml", toml({"id": '"b"'}, head=HEAD.replace('"t"', '"u"')))[0]
    assert one.includes == ("u",)
    found = with_included([one, other])
    assert [(rule.table, rule.id) for rule in found["t"]] == [("t", "mask-yearly"), ("u", "b")]
    assert [rule.id for rule in found["u"]] == ["b"]


@pytest.mark.parametrize(
    ("includes", "words"),
    [
        ('"us-own"', "must be a list of tables"),
        ("[]", "must be a list of tables"),
        ("[3]", "must be a list of tables"),
        ('["Us Own"]', "is not a name"),
        ('["t"]', "is the table itself"),
        ('["u", "u"]', "is named twice"),
    ],
)
def test_an_inclusion_nobody_can_mean_is_refused_by_key(includes: str, words: str) -> None:
    found = problems(toml({}, head=f"includes = {includes}\n" + HEAD))
    assert [problem.column for problem in found] == ["includes"], found
    assert words in str(found[0])


def test_a_sound_row_is_read_whole() -> None:
    text = toml(
        {
            "when": '{ kind = ["mask", "set"], working_pressure_bar = { min = 200, max = 300.5 } }',
            "unless": '{ design_life_years = [15, 20], marks = ["star", ""] }',
            "due": '"month-end"',
            "notice": '"P2W"',
            "satisfied_by": '["overhaul"]',
            "late_counts_back": '"P2M"',
            "valid_from": "2002-10-01",
            "valid_until": "2030-01-01",
            "note": '"as found"',
        }
    )
    table, found = read_table("a.toml", text)
    assert found == []
    assert (table.name, table.title, table.jurisdiction) == ("t", "A table", "XX")
    (rule,) = table.rules
    assert (rule.id, rule.table, rule.task, rule.level) == (
        "mask-yearly",
        "t",
        "flow-test",
        Level.MAKER,
    )
    assert (rule.every, rule.notice, rule.month_end) == (Duration(12), Duration(days=14), True)
    assert (rule.counted_from, rule.satisfied_by) == (Basis.MADE, ("overhaul",))
    assert rule.clock == Clock(late=Late(Duration(2))), "the old word for it"
    assert (rule.valid_from, rule.valid_until) == (date(2002, 10, 1), date(2030, 1, 1))
    assert dict(rule.when.tests) == {
        "kind": OneOf(frozenset({"mask", "set"})),
        "working_pressure_bar": Range(Decimal(200), Decimal("300.5")),
    }
    assert rule.unless is not None
    assert dict(rule.unless.tests) == {
        "design_life_years": OneOf(frozenset({Decimal(15), Decimal(20)})),
        "marks": OneOf(frozenset({"star", ""})),
    }


FAULTS = [
    # what is written, the key that is named, its value as quoted, words of the remedy
    ({"evry": '"P1Y"'}, "evry", "", "is not a key of a row; did you mean every?"),
    ({"colour": '"red"'}, "colour", "", "is not a key of a row; take it out"),
    ({"id": None}, "id", "", "is missing; every row needs it (rule row 1)"),
    ({"task": None}, "task", "", "is missing; every row needs it"),
    ({"level": None}, "level", "", "is missing; every row needs it"),
    ({"when": None}, "when", "", "is missing; every row needs it"),
    ({"source": None}, "source", "", "is missing; every row needs it (rule mask-yearly)"),
    ({"seen": None}, "seen", "", "is missing; every row needs it"),
    ({"id": '"Mask yearly"'}, "id", "Mask yearly", "use small letters, digits and hyphens"),
    ({"task": '"flow test"'}, "task", "flow test", "use small letters, digits and hyphens"),
    ({"level": '"lore"'}, "level", "lore", "must be one of law, standard, maker, local"),
    ({"seen": '"felt"'}, "seen", "felt", "must be one of text, secondary, memory, practice"),
    ({"source": '"  "'}, "source", "  ", 'must be a text in quotes, such as "49 CFR'),
    ({"source": "42"}, "source", "42", "must be a text in quotes"),
    ({"note": "[]"}, "note", "[]", "must be a text in quotes"),
    ({"every": '"1 year"'}, "every", "1 year", "is not a duration; write an ISO 8601 one"),
    ({"every": '"P0D"'}, "every", "P0D", "is not a duration; write an ISO 8601 one"),
    ({"every": '"P\u0663Y"'}, "every", "P\u0663Y", "is not a duration"),
    ({"every": "12"}, "every", "12", "is not a duration"),
    ({"notice": '"a month"'}, "notice", "a month", "such as P5Y, P30M, P2W or P10D"),
    ({**LIFE, "life": '"P"'}, "life", "P", "is not a duration"),
    ({**LIFE, "life": '"as marked"'}, "life", "as marked", "is not a duration"),
    ({"every": None}, "every", "", "row says not how often; write exactly one of every, calendar"),
    ({"calendar": '"month"'}, "every", "", "row has every and calendar; write exactly one of"),
    ({"every": None, "calendar": '"week"'}, "calendar", "week", "month, quarter, half-year, year"),
    ({"from": None}, "from", "", "is missing; say what the first period counts from"),
    ({"from": '"birth"'}, "from", "birth", "must be one of made, in-service, at-once, part-made"),
    ({"due": '"next-day"'}, "due", "next-day", "must be one of month-end, same-day"),
    ({**LIFE, "task": None}, "task", "", "is missing"),
    ({**LIFE, "task": '"overhaul"'}, "task", "overhaul", 'with life must be "service-life"'),
    ({**LIFE, "from": '"at-once"'}, "from", "at-once", "can't start a life; write made or in-serv"),
    ({**EVENTS, "from": '"made"'}, "from", "", "have no meaning with after; take them out"),
    ({**EVENTS, "due": '"month-end"'}, "from", "", "have no meaning with after; take them out"),
    ({**EVENTS, "after": '"use"'}, "after", "use", 'must be a list such as ["overhaul"]'),
    ({**EVENTS, "after": "[]"}, "after", "[]", "must be a list"),
    ({**EVENTS, "after": '["Use"]'}, "after", "Use", "use small letters, digits and hyphens"),
    ({**COUNTS, "limit": None}, "limit", "", "and counts belong together; write both or neither"),
    ({"limit": "3"}, "limit", "", "and counts belong together; write both or neither"),
    ({**COUNTS, "limit": "0"}, "limit", "0", "must be a whole number of at least 1"),
    ({**COUNTS, "limit": "true"}, "limit", "True", "must be a whole number of at least 1"),
    ({**COUNTS, "counts": '["fill"]'}, "counts", "['fill']", "is not a name"),
    ({"satisfied_by": '"overhaul"'}, "satisfied_by", "overhaul", 'must be a list such as'),
    ({"late_counts_back": '"two"'}, "late_counts_back", "two", "is not a duration"),
    ({"late_counts_back": '"P6W"'}, "late_counts_back", "P6W", "must be whole months, such as P2M"),
    ({"late_counts_back": '"P2M"', "every": None, "calendar": '"year"'}, "late_counts_back", "",
     "needs every, and not from part-made; take it out"),
    ({"late_counts_back": '"P2M"', "from": '"part-made"'}, "late_counts_back", "", "needs every"),
    ({**EVENTS, "late_counts_back": '"P2M"'}, "late_counts_back", "", "needs every"),
    ({**LIFE, "late_counts_back": '"P2M"'}, "late_counts_back", "", "needs every"),
    ({"clock": '"month"'}, "clock", "month", "must be forms such as clock.due = "),
    ({"clock.late": "{ }"}, "clock.late", "", "names no clause; write clause ="),
    ({"clock.soon": '{ clause = "4" }'}, "clock.soon", "", "is no form of a clock; write one of"),
    ({"clock.due": '{ by = "day", clause = "1" }'}, "clock.due.by", "day", "must be month"),
    ({"clock.due": '{ by = "month", clause = "1" }', "due": '"month-end"'}, "due", "month-end",
     "and clock.due say the same twice"),
    ({"clock.early": '{ clause = "4" }'}, "clock.early.within", "", "is missing; this form"),
    ({"clock.early": '{ within = "P6W", clause = "4" }'}, "clock.early.within", "P6W",
     "must be whole months"),
    ({"clock.early": '{ within = "P7M", clause = "4" }'}, "clock.early.within", "P7M",
     "must be at most half of every"),
    ({"clock.early": '{ within = "P1M", clause = "4" }', "from": '"part-made"'}, "clock.early", "",
     "can't stand with from part-made"),
    ({"clock.late": '{ counts_from = "due-date", till = "P1M", clause = "2" }'}, "clock.late.till",
     "", "is not a key of this form"),
    ({"clock.late": '{ counts_from = "due-date", clause = "2" }', "late_counts_back": '"P2M"'},
     "late_counts_back", "", "is the old word for clock.late"),
    ({"clock.start": '{ at = "end-of-month-before", clause = "24" }', "every": '"P90D"'},
     "clock.start", "", "needs every in years or months"),
    ({"clock.start": '{ at = "end-of-month-before", clause = "24" }',
      "clock.early": '{ within = "P1M", clause = "4" }'}, "clock.start", "", "stands alone"),
    ({"clock.other": '{ every = "P2Y", from = "made", governs = "longer", clause = "3" }'},
     "clock.other.governs", "longer", "must be sooner or later"),
    ({"clock.other": '{ every = "P2Y", from = "made", governs = "sooner", clause = "3" }',
      "from": '"at-once"'}, "clock.other", "", "needs from made or in-service"),
    ({**EVENTS, "clock.late": '{ counts_from = "due-date", clause = "2" }'}, "clock", "",
     "needs every"),
    ({**LIFE, "clock.early": '{ within = "P1M", clause = "4" }'}, "clock", "", "needs every"),
    ({"when": '["mask"]'}, "when", "['mask']", 'must be a table such as { kind = ["mask"] }'),
    ({"when": '{ colour = ["red"] }'}, "when", "colour", "is not an attribute of an item"),
    ({"when": '{ fiber = ["glass"] }'}, "when", "fiber", "did you mean fibre?"),
    ({"unless": '{ mark = ["star"] }'}, "unless", "mark", "did you mean marks?"),
    ({"when": '{ made_on = ["2020-01-01"] }'}, "when", "made_on", "is not an attribute"),
    ({"when": '{ kind = ["bottle"] }'}, "when", "bottle", "is no kind; it must be one of cylinder"),
    ({"when": '{ kind = "mask" }'}, "when", "kind", "must be a list of values or a range"),
    ({"when": "{ kind = [] }"}, "when", "kind", "must be a list of values or a range"),
    ({"unless": '{ construction = ["type-5"] }'}, "unless", "type-5", "is no construction"),
    # Words that no list and no form takes: such a row would never match anything.
    ({"when": '{ specification = ["dot-3ht"] }'}, "when", "dot-3ht", "write it with hyphens, DOT"),
    ({"when": '{ specification = ["3HT"] }'}, "when", "3HT", "such as DOT-3HT; no item can have"),
    ({"unless": '{ marks = ["air-tight-packed"] }'}, "unless", "air-tight-packed", "known as air"),
    ({"unless": '{ fibre = ["basalt"] }'}, "unless", "basalt", "must be one of carbon, glass"),
    ({"when": "{ tare_kg = { most = 5 } }"}, "when", "tare_kg", "such as { max = 56 }"),
    ({"when": '{ tare_kg = { max = "5" } }'}, "when", "tare_kg", "such as { max = 56 }"),
    ({"when": "{ tare_kg = { max = nan } }"}, "when", "tare_kg", "such as { max = 56 }"),
    ({"when": "{ tare_kg = { min = 6, max = 5 } }"}, "when", "tare_kg", "no item can match"),
    ({"when": "{ size = { max = 5 } }"}, "when", "size", "is a text, which lies in no range"),
    ({"when": "{ size = [52] }"}, "when", "52", "is a number; size is a text, write it in quotes"),
    ({"when": '{ tare_kg = ["5"] }'}, "when", "5", "is a text; tare_kg is a number, write it with"),
    ({"when": "{ tare_kg = [true] }"}, "when", "tare_kg", "may list texts and numbers only"),
    ({"valid_from": '"2002-10-01"'}, "valid_from", "2002-10-01", "must be a day without quotes"),
    ({"valid_from": "2002-10-01T00:00:00"}, "valid_from", "2002-10-01 00:00:00", "must be a day"),
    ({"valid_from": "2030-01-01", "valid_until": "2030-01-01"}, "valid_until", "2030-01-01",
     "must be later than valid_from"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "key", "value", "words"),
    FAULTS,
    ids=[f"{number:02} {fault[1]} {fault[2]}" for number, fault in enumerate(FAULTS)],
)
def test_a_row_with_a_fault_is_named_by_line_and_key(
    changes: dict[str, str | None], key: str, value: str, words: str
) -> None:
    table, found = read_table("tables/a.toml", toml(changes))
    assert [problem.line for problem in found] == [ROW_LINE] * len(found)
    named = [problem for problem in found if problem.column == key and words in problem.remedy]
    assert len(named) == 1, [str(problem) for problem in found]
    quoted = f" {value!r}" if value else ""
    assert str(named[0]).startswith(f"tables/a.toml:{ROW_LINE}: column {key}:{quoted} ")
    assert "\n" not in str(named[0])
    assert "(rule " in named[0].remedy
    assert table.rules == ()


@pytest.mark.parametrize(
    ("text", "line", "key", "words"),
    [
        ('table = "t\n', 1, "", "can't be read as TOML: Illegal character"),
        (toml({"every": '"P1Y"\nevery = "P2Y"'}), 12, "", "read as TOML: Cannot overwrite"),
        (toml({"every": "P1Y"}), 11, "", "can't be read as TOML: Invalid value"),
        (toml({}).replace("[[rule]]", "[[rule]"), 6, "", "can't be read as TOML"),
        (toml({}).replace("[[rule]]", "[rule]"), 1, "rule", "write [[rule]] above each row"),
        (HEAD + 'rule = "every year"\n', 1, "rule", "write [[rule]] above each row"),
        (HEAD + 'rule = ["every year"]\n', 1, "rule", "is not a row; write it as [[rule]]"),
        (HEAD, 1, "rule", "is missing; a table needs at least one [[rule]]"),
        (HEAD + "rule = []\n", 1, "rule", "is missing; a table needs at least one [[rule]]"),
        (toml({}, HEAD + 'tilte = "x"\n'), 1, "tilte", "did you mean title?"),
        (toml({}, HEAD.replace('"t"', '"My table"')), 1, "table", "use small letters, digits and"),
        (toml({}, HEAD.replace('"t"', "7")), 1, "table", 'is missing; write table = "..." at the'),
        *(
            (toml({}, HEAD.replace(key, f"x{key}")), 1, key, f'is missing; write {key} = "..." at')
            for key in ("table", "title", "jurisdiction", "caution")
        ),
        (toml({}, HEAD.replace("Check it.", " ")), 1, "caution", "is missing; write caution"),
    ],
)  # fmt: skip
def test_a_table_with_a_fault_is_named_by_line_and_key(
    text: str, line: int, key: str, words: str
) -> None:
    found = [p for p in problems(text) if p.column == key and words in p.remedy]
    assert [(problem.file, problem.line) for problem in found] == [("tables/a.toml", line)]


def test_a_row_may_have_spaces_in_its_brackets() -> None:
    text = toml({"level": '"lore"'}).replace("[[rule]]", "  [[ rule ]]")
    assert [problem.line for problem in problems(text)] == [ROW_LINE]


def test_an_id_that_stands_twice_is_named_with_the_line_of_the_first() -> None:
    text = toml({}) + toml({}, head="").replace("flow-test", "cleaning")
    assert [str(problem) for problem in problems(text)] == [
        "tables/a.toml:16: column id: 'mask-yearly' stands already on line 6 (rule mask-yearly)"
    ]


def test_every_fault_is_told_at_once_and_sound_rows_are_kept() -> None:
    bad = toml({"id": '"b"', "level": '"lore"', "every": '"P"', "seen": None}, head="")
    table, found = read_table("a.toml", toml({}) + bad + toml({"id": '"c"'}, head=""))
    assert [rule.id for rule in table.rules] == ["mask-yearly", "c"]
    assert [(problem.line, problem.column) for problem in found] == [
        (16, "seen"),
        (16, "level"),
        (16, "every"),
    ]


def test_a_long_value_is_quoted_shortened() -> None:
    (problem,) = problems(toml({"task": f'"{"x y" * 200}"'}))
    assert len(problem.value) == 60
    assert problem.value.endswith("...")


SOUND: dict[str, Any] = {
    "id": "a",
    "task": "flow-test",
    "level": "law",
    "when": {"kind": ["mask"]},
    "every": "P1Y",
    "from": "made",
    "source": "a page",
    "seen": "text",
}
ANYTHING: tuple[Any, ...] = (
    "",
    "x y",
    0,
    -1,
    True,
    Decimal("1.5"),
    Decimal("nan"),
    [],
    [[]],
    [1],
    [{}],
    {},
    {"a": 1},
    {"kind": {}},
    {"kind": [[]]},
    date(2020, 1, 1),
    datetime(2020, 1, 1),  # noqa: DTZ001
)


def test_whatever_stands_in_a_row_is_a_problem_or_a_rule_and_never_a_crash() -> None:
    keys = (*NEEDED, *OPTIONAL, *FORMS)
    assert row_faults(SOUND) == []
    for first, second in combinations(keys, 2):
        for value in ANYTHING:
            row = {**SOUND, first: value, second: value}
            if not row_faults(row):
                assert rule_from_row("t", row).text == canonical_row(row)


def test_one_content_has_one_text_in_any_order() -> None:
    written = {**SOUND, "valid_from": date(2002, 10, 1), "when": {"kind": ["mask"], "size": ["M"]}}
    turned = {key: written[key] for key in reversed(written)}
    turned["when"] = {"size": ["M"], "kind": ["mask"]}
    assert list(turned) != list(written)
    assert canonical_row(written) == canonical_row(turned)
    assert canonical_row(written) != canonical_row({**written, "note": "another"})
    reordered = toml({}).splitlines()
    text = "\n".join([*reordered[:6], *reversed(reordered[6:])])
    (rule,), found = read_table("a.toml", text)[0].rules, problems(text)
    assert found == []
    assert rule.text == read_table("a.toml", toml({}))[0].rules[0].text
    commented = toml({}).replace("[[rule]]", "# why\n[[rule]]  # how")
    assert read_table("a.toml", commented)[0].rules[0].text == rule.text


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_a_rule_comes_back_from_its_text_as_it_was(path: Path) -> None:
    """The stored text is what later answers are computed from."""
    for rule in read_table(path.name, path.read_text("utf-8"))[0].rules:
        again = rule_from_row(rule.table, json.loads(rule.text, parse_float=Decimal))
        assert replace(again, when=sorted_tests(again.when), unless=sorted_tests(again.unless)) == (
            replace(rule, when=sorted_tests(rule.when), unless=sorted_tests(rule.unless))
        )


def sorted_tests(condition: Condition | None) -> Condition:
    """Return a condition with its tests by name, for their order means nothing."""
    return Condition(tuple(sorted(condition.tests, key=itemgetter(0))) if condition else ())
