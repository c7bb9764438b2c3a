"""Reading a table of procedures: TOML text in, procedures and everything wrong with them out."""

import difflib
import json
import re
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from registry.items.pure import Kind
from registry.lettering.pure import signs_named, unprintable
from registry.lists.pure.problems import Problem
from servicing.bench.pure.applying import applies_faults, applies_of
from servicing.bench.pure.limits import Limit, LimitProblem
from servicing.bench.pure.procedure import Form, Measure, Procedure, ProcedureTable, Step
from servicing.bench.pure.typed import Plausible
from servicing.bench.pure.units import UNITS
from servicing.rules.pure.lines import key_line, row_lines
from servicing.rules.pure.tasks import COMMON_TASKS

HEAD = ("table", "title", "caution")
SEEN = ("text", "secondary", "memory", "practice")
NEEDED = ("id", "title", "task", "kinds", "source", "edition", "seen", "checked_on", "step")
OPTIONAL = ("instruments", "second_person", "outcomes", "valid_from", "valid_until", "note")
APPLYING = ("when", "unless")
EDGES = ("at_least", "more_than", "at_most", "less_than")
MEASURES = ("reading", "unit", *EDGES, "by_type", "share_of", "plausible", "seconds")
OF_MEASURE = frozenset((*MEASURES, "resolution", "may_tighten"))
OF_STEP = ("id", "form", "text", "instrument", "optional", "part", "renews", "source", "seen")
STEP_KEYS = frozenset((*OF_STEP, *APPLYING, *OF_MEASURE))
SHARES = ("working_pressure_bar", "test_pressure_bar")
OUTCOMES = ("pass", "fail", "condemned")
_WORD = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

Fault = tuple[str, object, str]
"""The key, what stands there, and what to do about it."""


@dataclass(frozen=True, slots=True)
class Known:
    """The words of the register that a procedure may name.

    tasks: those of the trade and of the rules that are loaded. tables: of rules, by name;
    None where any will do.
    """

    tasks: Collection[str] = COMMON_TASKS
    tables: Collection[str] | None = None


ANY = Known()


def read_procedures(
    name: str, text: str, known: Known = ANY
) -> tuple[ProcedureTable, list[Problem]]:
    """Read a file of procedures, [[procedure]] with its [[procedure.step]] in order.

    name: the file's name, for the problems. Every problem is found, each with the line of
    its key; where there are problems the table holds the procedures that are sound.
    """
    try:
        raw = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        line = int(found[1]) if found else 1
        empty = ProcedureTable(name, "", "", ())
        return empty, [Problem(name, line, "", "", f"can't be read as TOML: {error}")]
    problems = [Problem(name, 1, key, _short(value), say) for key, value, say in _head_faults(raw)]
    good: list[Procedure] = []
    starts = row_lines(text, "procedure")
    steps = iter(row_lines(text, "procedure.step"))
    first_seen: dict[str, int] = {}
    for row, start in zip(_rows(raw.get("procedure")), starts, strict=False):
        found_here = list(_row_problems(name, text, start, row, steps, known=known))
        called = str(row.get("id", ""))
        if called in first_seen:
            said = f"stands already on line {first_seen[called]}"
            found_here.append(Problem(name, key_line(text, start, "id"), "id", called, said))
        first_seen.setdefault(called, start)
        problems += found_here
        if not found_here:
            good.append(procedure_from_row(str(raw.get("table", name)), row))
    head = [str(raw.get(key, "")) for key in HEAD]
    return ProcedureTable(head[0], head[1], head[2], tuple(good)), problems


def procedure_from_row(table: str, row: Mapping[str, Any]) -> Procedure:
    """Return the procedure a sound row means. It may come from TOML or from stored JSON."""
    return Procedure(
        id=row["id"],
        table=table,
        title=row["title"],
        task=row["task"],
        kinds=tuple(row["kinds"]),
        source=row["source"],
        edition=row["edition"],
        seen=row["seen"],
        checked_on=_day(row["checked_on"]) or date.min,
        steps=tuple(_step(step, row) for step in row["step"]),
        instruments=tuple(row.get("instruments", ())),
        second_person=row.get("second_person", False),
        outcomes=tuple(row.get("outcomes", ("pass", "fail"))),
        valid_from=_day(row.get("valid_from")),
        valid_until=_day(row.get("valid_until")),
        note=row.get("note", ""),
        text=canonical_text(row),
        applies=applies_of(row),
    )


def procedure_from_text(table: str, text: str) -> Procedure:
    """Return the procedure that a stored canonical text means."""
    return procedure_from_row(table, json.loads(text))


def canonical_text(row: Mapping[str, Any]) -> str:
    """Return a row as one JSON text that is the same for the same content.

    Keys are sorted, steps keep their order. Days become ISO text, and decimal numbers text
    with their digits, so that 1.0 stays 1.0 and no number ever passes through binary.
    """
    return json.dumps(row, sort_keys=True, ensure_ascii=False, default=_plain)


def _plain(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    raise TypeError(f"{value!r} can't stand in a procedure")


def _step(row: Mapping[str, Any], of: Mapping[str, Any]) -> Step:
    form = Form(row["form"])
    source, seen = row.get("source", of["source"]), row.get("seen", of["seen"])
    return Step(
        id=row["id"],
        form=form,
        text=row["text"],
        instrument=row.get("instrument", ""),
        optional=row.get("optional", False),
        measure=_measure(row, source, seen) if form is Form.MEASURE else None,
        part=row.get("part", ""),
        renews=row.get("renews", ""),
        source=source,
        seen=seen,
        applies=applies_of(row),
    )


def _measure(row: Mapping[str, Any], source: str, seen: str) -> Measure:
    unit = UNITS[row["unit"]]
    usual = [Decimal(str(edge)) for edge in row.get("plausible", ())]
    return Measure(
        reading=row["reading"],
        unit=unit,
        limit=_limit(row, source, seen),
        by_type=row.get("by_type", False),
        share_of=row.get("share_of", ""),
        plausible=Plausible(usual[0], usual[1], unit) if usual else None,
        seconds=row.get("seconds", 0),
        resolution=Decimal(str(row["resolution"])) if "resolution" in row else None,
        may_tighten=row.get("may_tighten", False),
    )


def _limit(row: Mapping[str, Any], source: str, seen: str) -> Limit | None:
    if not any(edge in row for edge in EDGES):
        return None
    low, high = row.get("at_least", row.get("more_than")), row.get("at_most", row.get("less_than"))
    return Limit(
        low=None if low is None else Decimal(str(low)),
        high=None if high is None else Decimal(str(high)),
        unit=UNITS["%"] if "share_of" in row else UNITS[row["unit"]],
        source=source,
        seen=seen,
        low_strict="more_than" in row,
        high_strict="less_than" in row,
    )


# ── What can be wrong ───────────────────────────────────────────────────────────────────────────


def _row_problems(
    name: str,
    text: str,
    start: int,
    row: Mapping[str, Any],
    steps: Iterator[int],
    *,
    known: Known,
) -> Iterator[Problem]:
    """Yield what is wrong with a procedure and its steps, each on the line of its key."""
    of = str(row.get("id", "without an id"))
    kinds = [kind for kind in _list(row.get("kinds")) if isinstance(kind, str)]
    for key, value, say in [*row_faults(row), *applies_faults(row, kinds, known.tables)]:
        line = key_line(text, start, key)
        yield Problem(name, line, key, _short(value), f"{say} (procedure {of})")
    seen: set[str] = set()
    for number, step in enumerate(_rows(row.get("step")), 1):
        line = next(steps, start)
        which = f"step {step.get('id', number)} of {of}"
        applying = applies_faults(step, kinds, known.tables)
        for key, value, say in [*step_faults(step, known), *applying]:
            yield Problem(name, key_line(text, line, key), key, _short(value), f"{say} ({which})")
        for key in ("id", "reading"):
            if (said := f"{key} {step.get(key)}") in seen and key in step:
                again = f"stands in an earlier step; every one needs its own ({which})"
                yield Problem(name, key_line(text, line, key), key, _short(step[key]), again)
            seen.add(said)


def row_faults(row: Mapping[str, Any]) -> list[Fault]:
    """Return what is wrong with a procedure, its steps left out."""
    known = {*NEEDED, *OPTIONAL, *APPLYING}
    faults: list[Fault] = [(key, "", _unknown(key, known)) for key in row if key not in known]
    faults += [
        (key, "", "is missing; every procedure needs it") for key in NEEDED if not row.get(key)
    ]
    if row.get("step") and all(any(k in s for k in APPLYING) for s in _rows(row["step"])):
        faults.append(("step", "", "may all not apply; at least one must always be asked"))
    for key in ("id", "task"):
        faults += _word_fault(key, row.get(key))
    for key in ("title", "source", "edition", "note"):
        faults += _text_fault(key, row.get(key))
    faults += _list_fault("kinds", row.get("kinds"), tuple(Kind))
    faults += _list_fault("outcomes", row.get("outcomes"), OUTCOMES)
    for word in _list(row.get("instruments")):
        faults += _word_fault("instruments", word)
    faults += _seen_fault(row.get("seen"))
    faults += _flag_fault("second_person", row.get("second_person"))
    for key in ("checked_on", "valid_from", "valid_until"):
        if key in row and type(row[key]) is not date:
            faults.append((key, row[key], "must be a day without quotes, such as 2026-11-25"))
    start, end = row.get("valid_from"), row.get("valid_until")
    if type(start) is type(end) is date and start >= end:
        faults.append(("valid_until", end, "must be later than valid_from"))
    return faults


def step_faults(step: Mapping[str, Any], known: Known = ANY) -> list[Fault]:
    """Return what is wrong with one step."""
    faults: list[Fault] = [
        (key, "", _unknown(key, STEP_KEYS)) for key in step if key not in STEP_KEYS
    ]
    faults += [
        (key, "", "is missing; every step needs it")
        for key in ("id", "form", "text")
        if not step.get(key)
    ]
    faults += _word_fault("id", step.get("id")) + _word_fault("instrument", step.get("instrument"))
    for key in ("text", "part", "source"):
        faults += _text_fault(key, step.get(key))
    faults += _seen_fault(step.get("seen")) + _flag_fault("optional", step.get("optional"))
    form = step.get("form")
    if form and form not in [*Form]:
        faults.append(("form", form, f"must be one of {', '.join(Form)}"))
    if form == Form.RENEW and not step.get("part"):
        faults.append(("part", "", "is missing; name the part that is renewed"))
    faults += _renews_fault(step, known.tasks)
    if ("source" in step) != ("seen" in step):
        faults.append(("seen", "", "and source belong together; write both or neither"))
    if form == Form.MEASURE:
        return faults + _measure_faults(step)
    stray = sorted(OF_MEASURE & step.keys())
    return faults + [(key, "", "belongs to a step that measures; take it out") for key in stray]


def _renews_fault(step: Mapping[str, Any], tasks: Collection[str]) -> list[Fault]:
    if (task := step.get("renews")) is None:
        return []
    if step.get("form") != Form.RENEW:
        return [("renews", task, "belongs to a step that renews a part; take it out")]
    if task in tasks:
        return []
    near = difflib.get_close_matches(str(task), sorted(tasks), 1)
    say = f"did you mean {near[0]}?" if near else "load the rules that ask for it first"
    return [("renews", task, f"is no task that is known; {say}")]


def _measure_faults(step: Mapping[str, Any]) -> list[Fault]:
    faults: list[Fault] = [
        (key, "", "is missing; every measure needs it")
        for key in ("reading", "unit")
        if not step.get(key)
    ]
    faults += _word_fault("reading", step.get("reading"))
    if (unit := step.get("unit")) and unit not in UNITS:
        faults.append(("unit", unit, f"is no unit; write one of {', '.join(UNITS)}"))
    for key in ("by_type", "may_tighten"):
        faults += _flag_fault(key, step.get(key))
    for key in (*EDGES, "resolution"):
        if key in step and not _is_number(step[key]):
            faults.append((key, step[key], "must be a number without quotes"))
    if step.get("share_of") not in (None, *SHARES):
        faults.append(("share_of", step["share_of"], f"must be one of {', '.join(SHARES)}"))
    if "seconds" in step and (type(step["seconds"]) is not int or step["seconds"] < 1):
        faults.append(("seconds", step["seconds"], "must be a whole number of at least 1"))
    faults += _plausible_fault(step.get("plausible"))
    return faults or _edge_faults(step)


def _edge_faults(step: Mapping[str, Any]) -> list[Fault]:
    for one, other in (("at_least", "more_than"), ("at_most", "less_than")):
        if one in step and other in step:
            return [(other, step[other], f"and {one} say the same edge twice; write one")]
    edges = [edge for edge in EDGES if edge in step]
    if step.get("by_type", False) == bool(edges):
        said = "a limit, or by_type = true where the limit belongs to the type; one of the two"
        return [("by_type", "", f"leaves the limit open; write {said}")]
    if step.get("share_of") and step.get("unit") != "bar":
        return [("share_of", step["share_of"], "is a pressure; the unit must be bar")]
    try:
        _limit(step, "source", "text")
    except LimitProblem as problem:
        return [(edges[0], step[edges[0]], str(problem))]
    return []


def _plausible_fault(value: object) -> list[Fault]:
    if value is None:
        return []
    if isinstance(value, list) and len(value) == 2 and all(_is_number(end) for end in value):
        return [] if value[0] < value[1] else [("plausible", value, "must rise")]
    return [("plausible", value, "must be two numbers, such as [0, 20]")]


def _head_faults(raw: Mapping[str, Any]) -> list[Fault]:
    known = {*HEAD, "procedure"}
    faults: list[Fault] = [(key, "", _unknown(key, known)) for key in raw if key not in known]
    for key in HEAD:
        if not raw.get(key):
            faults.append((key, "", f'is missing; write {key} = "..." at the top of the file'))
        faults += _text_fault(key, raw.get(key))
    faults += _word_fault("table", raw.get("table"))
    if not _rows(raw.get("procedure")):
        faults.append(("procedure", "", "is missing; write [[procedure]] above each one"))
    return faults


def _rows(value: object) -> list[Mapping[str, Any]]:
    return [row for row in _list(value) if isinstance(row, Mapping)]


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _unknown(key: str, known: set[str] | frozenset[str]) -> str:
    near = difflib.get_close_matches(key, sorted(known), 1)
    return "is not a key here" + (f"; did you mean {near[0]}?" if near else "; take it out")


def _word_fault(key: str, value: object) -> list[Fault]:
    if value is None or (isinstance(value, str) and _WORD.fullmatch(value)):
        return []
    return [(key, value, "is not a name; use small letters, digits and hyphens")]


def _text_fault(key: str, value: object) -> list[Fault]:
    if value is None or (isinstance(value, str) and value.strip()):
        lacking = unprintable(value or "")
        return (
            [(key, value, f"holds what paper can't show: {signs_named(lacking)}")]
            if lacking
            else []
        )
    return [(key, value, "must be a text in quotes")]


def _list_fault(key: str, value: object, words: tuple[str, ...]) -> list[Fault]:
    if value is None or (isinstance(value, list) and value and all(one in words for one in value)):
        return []
    return [(key, value, f"must be a list of some of {', '.join(words)}")]


def _seen_fault(value: object) -> list[Fault]:
    if value is None or value in SEEN:
        return []
    return [("seen", value, f"must be one of {', '.join(SEEN)}")]


def _flag_fault(key: str, value: object) -> list[Fault]:
    return (
        [] if value is None or isinstance(value, bool) else [(key, value, "must be true or false")]
    )


def _is_number(value: object) -> bool:
    return type(value) is int or (isinstance(value, Decimal) and value.is_finite())


def _day(raw: Any) -> date | None:
    return raw if raw is None or isinstance(raw, date) else date.fromisoformat(raw)


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
