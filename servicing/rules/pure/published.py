"""Published facts and traps as rows: what a source says, and the case that proves we keep it.

They lie in fixtures/published/. The tests run every row that holds a case, and the page
"Where these rules come from" prints the same rows: neither has a list of its own.
"""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from registry.lists.pure.problems import Problem
from servicing.rules.pure.tables import SEEN

AREAS = ("dates", "hydrostatic", "gas", "limits")
NEEDED = ("id", "says", "value", "clause", "edition", "seen", "checked_on")
CASE = ("tables", "item", "history", "on", "task", "answer")
PROOFS = ("answer", "proved_by", "left_out")
KEYS = frozenset({*NEEDED, *CASE, *PROOFS, "area", "trap", "given", "gives"})
NOTHING = "nothing is owed"


@dataclass(frozen=True, slots=True)
class Case:
    """An item, its history, and what its source says is due on a day.

    history: entries parted by ";": "made DAY", "in-service DAY", and records as
    "TASK DAY", with "fail" or "condemned" after it unless it passed, and "part DAY"
    for the day a renewed part was made, and "hours N" for what the meter showed. answer:
    "DAY RULE STATE", the day "unknown" where there is nothing to count from; or NOTHING.
    """

    tables: tuple[str, ...]
    item: Mapping[str, Any]
    history: str
    on: date
    task: str
    answer: str

    @property
    def rule(self) -> str:
        """The id of the rule that decides the answer; empty where nothing is owed."""
        return "" if self.answer == NOTHING else self.answer.split()[1]


@dataclass(frozen=True, slots=True)
class Fact:
    """One published fact. Exactly one of `case`, `proved_by` and `left_out` says how it is kept.

    proved_by: the test that proves it, as FILE::TEST, for what is no due date. left_out:
    why no table follows it. trap: the trap it answers. given, gives: the figures of a
    worked example in another area, by names that carry their units.
    """

    id: str
    area: str
    says: str
    value: str
    clause: str
    edition: str
    seen: str
    checked_on: date
    trap: str = ""
    case: Case | None = None
    proved_by: str = ""
    left_out: str = ""
    given: Mapping[str, Any] | None = None
    gives: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Trap:
    """A way to be wrong that people have fallen into, and how it is answered here.

    elsewhere: the area whose own tests answer it, where it is not about dates.
    """

    id: str
    says: str
    answered: str
    elsewhere: str = ""


@dataclass(frozen=True, slots=True)
class Published:
    """One file of facts and traps; `name` is the file's, without its ending."""

    name: str
    title: str
    facts: tuple[Fact, ...]
    traps: tuple[Trap, ...]


def read_published(name: str, text: str) -> tuple[Published, list[Problem]]:
    """Read a file of published facts; every problem is found, not the first one only.

    Keys at the top of the file stand for every fact that doesn't say otherwise.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        problem = Problem(name, 1, "", "", f"can't be read as TOML: {error}")
        return Published(name, "", (), ()), [problem]
    common = {key: value for key, value in raw.items() if key in {*NEEDED, "area", "tables"}}
    facts: list[Fact] = []
    problems: list[Problem] = []
    for row in raw.get("fact", []):
        whole = {"area": "dates", **common, **row}
        faults = list(_faults(whole))
        which = str(whole.get("id", f"fact {len(facts) + len(problems) + 1}"))
        problems += [Problem(name, 1, key, which, remedy) for key, remedy in faults]
        if not faults:
            facts.append(_fact(whole))
    traps = tuple(Trap(**row) for row in raw.get("trap", []))
    head = name.removesuffix(".toml"), str(raw.get("title", name))
    return Published(*head, tuple(facts), traps), problems


def proofs(facts: Iterable[Fact]) -> dict[str, int]:
    """Return how many published cases each rule decides, by the rule's id."""
    found: dict[str, int] = {}
    for fact in facts:
        if fact.case is not None and fact.case.rule:
            found[fact.case.rule] = found.get(fact.case.rule, 0) + 1
    return found


def _faults(row: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    """Yield (key, remedy) for everything wrong with one row."""
    for key in NEEDED:
        if not row.get(key):
            yield key, "is missing; every fact needs it"
    for key in row.keys() - KEYS:
        yield key, "is not a key of a fact; take it out"
    if row.get("seen") not in SEEN:
        yield "seen", f"must be one of {', '.join(SEEN)}"
    if row["area"] not in AREAS:
        yield "area", f"must be one of {', '.join(AREAS)}"
    if type(row.get("checked_on")) is not date:
        yield "checked_on", "must be a day without quotes, such as 2026-11-25"
    yield from _proof_faults(row)


def _proof_faults(row: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    """Yield what is wrong with how a row is proved."""
    if sum(key in row for key in PROOFS) != 1:
        yield "answer", f"write exactly one of {', '.join(PROOFS)}"
    if "answer" in row:
        yield from ((key, "is missing; a case needs it") for key in CASE if key not in row)


def _fact(row: Mapping[str, Any]) -> Fact:
    case = None
    if "answer" in row:
        item = {
            name: frozenset(value) if isinstance(value, list) else value
            for name, value in row["item"].items()
        }
        case = Case(
            tables=tuple(row["tables"]),
            item=item,
            history=row["history"],
            on=row["on"],
            task=row["task"],
            answer=row["answer"],
        )
    names = (*NEEDED, "area", "trap", "proved_by", "left_out", "given", "gives")
    return Fact(**{name: row[name] for name in names if name in row}, case=case)
