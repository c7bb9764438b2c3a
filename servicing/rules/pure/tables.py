"""Reading a rule table: TOML text in, a table and everything wrong with it out."""

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from registry.cells.pure.values import ValueProblem
from registry.items.facts import FACTS, RULE_KEYS, Fact, Kept
from registry.lettering.pure import signs_named, unprintable
from registry.lists.pure.problems import Problem
from servicing.rules.pure.bars import Bars, bars_faults, bars_of
from servicing.rules.pure.clocks import by_month, clock_faults, clock_of
from servicing.rules.pure.durations import PERIOD_MONTHS, Duration, DurationProblem
from servicing.rules.pure.included import WORD, included_faults
from servicing.rules.pure.keys import FORMS, NEEDED, OPTIONAL
from servicing.rules.pure.lines import row_lines
from servicing.rules.pure.rule import (
    SERVICE_LIFE,
    Basis,
    Condition,
    Level,
    OneOf,
    Range,
    Rule,
    Table,
    Value,
)

_KEYS = {name: FACTS[name] for name in RULE_KEYS}
SITE = "site"
"""The one key that is no fact of an item: where it is kept, by the site's code."""
ATTRIBUTES = frozenset({*_KEYS, SITE})
NUMBERS = frozenset(n for n, fact in _KEYS.items() if fact.kept in (Kept.NUMBER, Kept.WHOLE))
SEEN = ("text", "secondary", "memory", "practice")
TABLE_KEYS = ("table", "title", "jurisdiction", "caution")
DEFAULTS = ("edition", "checked_on")
"""Keys of a row that may stand at the top of the file, for all rows that don't say otherwise."""
RESERVED = "local-"
"""How the tables and rules begin that managers make on screen; no file may use it."""


class RowProblem(ValueError):
    """Something wrong with one key of a row: (key, value, remedy)."""

    def __init__(self, key: str, value: object, remedy: str) -> None:
        super().__init__(remedy)
        self.key, self.value, self.remedy = key, value, remedy


def read_table(name: str, text: str) -> tuple[Table, list[Problem]]:
    """Read a rule table as DEVELOPERS.md lays it out.

    name: the file's name, for the problems. Every problem is found, not the first
    one only; where there are problems the table holds the rows that are sound.
    """
    try:
        raw = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        line = int(found[1]) if found else 1
        return _empty(name), [Problem(name, line, "", "", f"can't be read as TOML: {error}")]
    problems = [Problem(name, 1, key, value, remedy) for key, value, remedy in _table_faults(raw)]
    lines = row_lines(text, "rule")
    rules: list[Rule] = []
    first_seen: dict[str, int] = {}
    rows = raw.get("rule", [])
    defaults = {key: raw[key] for key in DEFAULTS if key in raw}
    for number, said in enumerate(rows if isinstance(rows, list) else []):
        line = lines[number] if number < len(lines) else 1
        if not isinstance(said, dict):
            problems.append(Problem(name, line, "rule", "", "is not a row; write it as [[rule]]"))
            continue
        row = {**defaults, **said}
        faults = row_faults(row)
        rule_id = str(row.get("id", f"row {number + 1}"))
        if rule_id.startswith(RESERVED):
            faults.append(("id", rule_id, f"begins with {RESERVED}, as rules made on screen do"))
        if rule_id in first_seen:
            faults.append(("id", rule_id, f"stands already on line {first_seen[rule_id]}"))
        first_seen.setdefault(rule_id, line)
        problems += [
            Problem(name, line, key, _short(value), f"{remedy} (rule {rule_id})")
            for key, value, remedy in faults
        ]
        if not faults:
            rules.append(rule_from_row(str(raw.get("table", name)), row))
    head = {key: str(raw.get(key, "")) for key in TABLE_KEYS}
    includes = () if included_faults(raw) else tuple(raw.get("includes", ()))
    said = (head["table"], head["title"], head["jurisdiction"], head["caution"])
    return Table(*said, tuple(rules), includes), problems


def row_faults(row: Mapping[str, Any]) -> list[tuple[str, object, str]]:
    """Return (key, value, remedy) for everything wrong with one row."""
    faults: list[tuple[str, object, str]] = []
    known = {*NEEDED, *OPTIONAL, *FORMS}
    faults += [(key, "", _unknown(key, known)) for key in row if key not in known]
    faults += [(key, "", "is missing; every row needs it") for key in NEEDED if not row.get(key)]
    forms = [form for form in FORMS if form in row]
    if len(forms) != 1:
        said = f"has {' and '.join(forms)}" if forms else "says not how often"
        faults.append(("every", "", f"row {said}; write exactly one of {', '.join(FORMS)}"))
    for key in row:
        if (check := _CHECKS.get(key)) is None:
            continue
        try:
            check(row[key])
        except RowProblem as problem:
            faults.append((problem.key or key, problem.value, problem.remedy))
    return faults + _together(row, forms) + clock_faults(row) + bars_faults(row)


def rule_from_row(table: str, row: Mapping[str, Any]) -> Rule:
    """Return the rule a sound row means. The row may come from TOML or from stored JSON."""
    life = row.get("life")
    return Rule(
        id=row["id"],
        table=table,
        task=row["task"],
        level=Level(row["level"]),
        when=_condition(row["when"]),
        unless=_condition(row["unless"]) if row.get("unless") else None,
        source=row["source"],
        seen=row["seen"],
        every=_span(row.get("every")),
        calendar=row.get("calendar"),
        after=tuple(row.get("after", ())),
        life=Duration.parse(life) if life and life != "as-marked" else None,
        life_as_marked=life == "as-marked",
        counts=row.get("counts"),
        limit=int(row.get("limit", 0)),
        counted_from=Basis(row.get("from", "made")),
        month_end=by_month(row),
        notice=Duration.parse(row.get("notice", "P1M")),
        satisfied_by=tuple(row.get("satisfied_by", ())),
        clock=clock_of(row),
        bars=bars_of(row, of_a_site=table.startswith(RESERVED)),
        bars_by=row.get("bars_by", ""),
        valid_from=_day(row.get("valid_from")),
        valid_until=_day(row.get("valid_until")),
        note=row.get("note", ""),
        edition=row.get("edition", ""),
        checked_on=_day(row.get("checked_on")),
        text=canonical_row(row),
    )


def canonical_row(row: Mapping[str, Any]) -> str:
    """Return a row as one JSON text that is the same for the same content.

    Days become ISO text. The content hash of a rule's version is taken over it.
    """
    return json.dumps(row, sort_keys=True, ensure_ascii=False, default=_plain)


def _plain(value: object) -> object:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{value!r} can't stand in a rule")


def _empty(name: str) -> Table:
    return Table(name, "", "", "", ())


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _table_faults(raw: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    faults = [
        (key, "", _unknown(key, known))
        for known in [{*TABLE_KEYS, *DEFAULTS, "includes", "rule"}]
        for key in raw
        if key not in known
    ]
    faults += [
        (key, "", f'is missing; write {key} = "..." at the top of the file')
        for key in TABLE_KEYS
        if not isinstance(raw.get(key), str) or not raw[key].strip()
    ]
    name = raw.get("table")
    if isinstance(name, str) and name and not WORD.fullmatch(name):
        faults.append(("table", name, "is not a name; use small letters, digits and hyphens"))
    if isinstance(name, str) and name.startswith(RESERVED):
        faults.append(("table", name, f"begins with {RESERVED}, as tables made on screen do"))
    faults += included_faults(raw)
    rows = raw.get("rule", [])
    if not isinstance(rows, list):
        faults.append(("rule", "", "is not a list of rows; write [[rule]] above each row"))
    elif not rows:
        faults.append(("rule", "", "is missing; a table needs at least one [[rule]]"))
    return faults


def _unknown(key: str, known: set[str]) -> str:
    near = difflib.get_close_matches(key, known, 1)
    return "is not a key of a row" + (f"; did you mean {near[0]}?" if near else "; take it out")


def _together(row: Mapping[str, Any], forms: list[str]) -> list[tuple[str, object, str]]:
    """Return what is wrong between the keys of a row."""
    faults: list[tuple[str, object, str]] = []
    if forms in (["every"], ["calendar"]) and "from" not in row:
        faults.append(("from", "", "is missing; say what the first period counts from"))
    if "life" in row and row.get("task") != SERVICE_LIFE:
        faults.append(("task", row.get("task"), f'with life must be "{SERVICE_LIFE}"'))
    if "life" in row and row.get("from") not in (None, "made", "in-service"):
        faults.append(("from", row["from"], "can't start a life; write made or in-service"))
    if row.get("task") == SERVICE_LIFE and ({"every", "calendar"} & row.keys()):
        faults.append(("every", "", "can't end a life, for a record would prolong it; write life"))
    if ("counts" in row) != ("limit" in row):
        faults.append(("limit", "", "and counts belong together; write both or neither"))
    if forms in (["after"], ["counts"]) and ({"from", "due"} & row.keys()):
        faults.append(("from", "", f"and due have no meaning with {forms[0]}; take them out"))
    start, end = row.get("valid_from"), row.get("valid_until")
    if type(start) is type(end) is date and start >= end:
        faults.append(("valid_until", end, "must be later than valid_from"))
    return faults


def _condition(raw: Mapping[str, Any]) -> Condition:
    return Condition(tuple((name, _test(test)) for name, test in raw.items()))


def _test(raw: Any) -> OneOf | Range:
    if isinstance(raw, Mapping):
        ends = {end: Decimal(str(value)) for end, value in raw.items()}
        return Range(ends.get("min"), ends.get("max"))
    return OneOf(frozenset(_value(value) for value in raw))


def _value(raw: Any) -> Value:
    return raw if isinstance(raw, str) else Decimal(str(raw))


def _span(raw: Any) -> Duration | None:
    return None if raw is None else Duration.parse(raw)


def _day(raw: Any) -> date | None:
    if raw is None or isinstance(raw, date):
        return raw
    return date.fromisoformat(raw)


def _check_word(value: Any) -> None:
    if not isinstance(value, str) or not WORD.fullmatch(value):
        raise RowProblem("", value, "is not a name; use small letters, digits and hyphens")


def _check_text(value: Any) -> None:
    if not isinstance(value, str) or not value.strip():
        raise RowProblem("", value, 'must be a text in quotes, such as "49 CFR 180.209(a)"')
    if lacking := unprintable(value):
        raise RowProblem("", value, f"holds what paper can't show: {signs_named(lacking)}")


def _check_words(value: Any) -> None:
    if not isinstance(value, list) or not value:
        raise RowProblem("", value, 'must be a list such as ["overhaul"]')
    for word in value:
        _check_word(word)


def _check_duration(value: Any) -> None:
    try:
        Duration.parse(value if isinstance(value, str) else "")
    except DurationProblem as problem:
        raise RowProblem("", value, str(problem)) from problem


def _check_life(value: Any) -> None:
    if value != "as-marked":
        _check_duration(value)


def _check_limit(value: Any) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or value < 1:
        raise RowProblem("", value, "must be a whole number of at least 1")


def _check_day(value: Any) -> None:
    if type(value) is not date:
        raise RowProblem("", value, "must be a day without quotes, such as 2002-10-01")


def _one_of(words: tuple[str, ...]) -> Callable[[Any], None]:
    def check(value: Any) -> None:
        if value not in words:
            raise RowProblem("", value, f"must be one of {', '.join(words)}")

    return check


def _check_condition(value: Any) -> None:
    if not isinstance(value, Mapping) or not value:
        raise RowProblem("", value, 'must be a table such as { kind = ["mask"] }')
    for name, test in value.items():
        if name not in ATTRIBUTES:
            near = difflib.get_close_matches(name, ATTRIBUTES, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise RowProblem("", name, f"is not an attribute of an item{hint}")
        _check_test(name, test)


def _check_test(name: str, test: Any) -> None:
    """Refuse a test that means nothing or, worse, one that no item could ever meet."""
    if isinstance(test, Mapping):
        _check_range(name, test)
    elif isinstance(test, list) and test:
        for value in test:
            _check_listed(name, value)
    else:
        raise RowProblem("", name, "must be a list of values or a range such as { max = 56 }")


def _check_range(name: str, ends: Mapping[str, Any]) -> None:
    sound = ends and ends.keys() <= {"min", "max"}
    if not sound or not all(_is_number(end) for end in ends.values()):
        raise RowProblem("", name, "must be a list or a range such as { max = 56 }")
    if name not in NUMBERS:
        raise RowProblem("", name, "is a text, which lies in no range; write a list of texts")
    if len(ends) == 2 and ends["min"] > ends["max"]:
        raise RowProblem("", name, "has a min above its max; no item can match")


def _check_listed(name: str, value: Any) -> None:
    if not isinstance(value, str) and not _is_number(value):
        raise RowProblem("", name, "may list texts and numbers only")
    if name in NUMBERS and isinstance(value, str) and value:
        raise RowProblem("", value, f"is a text; {name} is a number, write it without quotes")
    if name not in NUMBERS and not isinstance(value, str):
        raise RowProblem("", value, f"is a number; {name} is a text, write it in quotes")
    if isinstance(value, str) and value and name != SITE:
        _check_text_of(FACTS[name], value)


def _check_text_of(fact: Fact, value: str) -> None:
    """Refuse a text that no item can have, as no list and no form takes it."""
    if fact.closed:
        if value not in fact.words:
            remedy = f"is no {fact.name}; it must be one of {', '.join(fact.words)}"
            raise RowProblem("", value, remedy)
        return
    try:
        fact.read(value)
    except ValueProblem as problem:
        raise RowProblem("", value, f"{problem.remedy}; no item can have it so") from problem


def _is_number(value: Any) -> bool:
    return type(value) is int or (type(value) is Decimal and value.is_finite())


_CHECKS: dict[str, Callable[[Any], None]] = {
    "id": _check_word,
    "task": _check_word,
    "level": _one_of(tuple(Level)),
    "seen": _one_of(SEEN),
    "source": _check_text,
    "note": _check_text,
    "when": _check_condition,
    "unless": _check_condition,
    "every": _check_duration,
    "notice": _check_duration,
    "life": _check_life,
    "calendar": _one_of(tuple(PERIOD_MONTHS)),
    "after": _check_words,
    "satisfied_by": _check_words,
    "counts": _check_word,
    "limit": _check_limit,
    "from": _one_of(tuple(Basis)),
    "due": _one_of(("month-end", "same-day")),
    "bars": _one_of(tuple(Bars)),
    "bars_by": _check_text,
    "valid_from": _check_day,
    "valid_until": _check_day,
    "edition": _check_text,
    "checked_on": _check_day,
}
