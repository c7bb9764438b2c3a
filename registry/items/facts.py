"""What a good item is: one row for each thing that is known of one.

Lists, the form, the keys of rule tables, the versions, pages and papers, the demo and the tests
of README take names, labels, units, bounds, kinds and refusals from here. The columns of the
database are held to it by a test, so a fact is a row here and a field of `Item` with its
migration. No Django, no clock.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import partial
from typing import Any

from registry.cells.pure import codes
from registry.cells.pure.bare import bare, sound
from registry.cells.pure.days import day, month_or_day
from registry.cells.pure.stamped import LONGEST, Marks, Specifications
from registry.cells.pure.values import Measure, ValueProblem, Vocabulary, whole
from registry.items.pure import (
    CONNECTIONS,
    MARKS,
    SPECIFICATIONS,
    Construction,
    Fibre,
    Kind,
    a_kind,
)

YEARS_AHEAD = 2
"""So far ahead an item may be planned to go into service."""
LIFE_YEARS = (1, 60)


class Kept(StrEnum):
    """What sort of value a fact is in the register and in its versions."""

    TEXT = "text"
    WORDS = "words"
    NUMBER = "number"
    WHOLE = "whole number"
    DAY = "day"


UNKNOWN: Mapping[Kept, Any] = {
    Kept.TEXT: "",
    Kept.WORDS: (),
    **dict.fromkeys((Kept.NUMBER, Kept.WHOLE, Kept.DAY)),
}
"""What stands where nothing is known."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that is known of an item.

    name: column of lists, field of the form, key of rule tables and of versions. reads: what
    the bare text of a cell or field becomes; raises ValueProblem with what to write instead.
    unit: as people write it; names carry it too. needed: nothing is registered without it.
    of_cylinders: no other kind has it. words: what it is chosen from; closed: and nothing
    else. longest: of a text, in signs. measure: the bounds of a number. rule_key: whether
    rows of rule tables may go by it.
    """

    name: str
    label: str
    reads: Callable[[str], Any]
    kept: Kept = Kept.TEXT
    unit: str = ""
    needed: bool = False
    of_cylinders: bool = False
    words: Collection[str] = ()
    closed: bool = False
    longest: int = 0
    measure: Measure | None = None
    rule_key: bool = True
    help: str = ""

    @property
    def unknown(self) -> Any:
        """What stands where it is not known."""
        return UNKNOWN[self.kept]

    def read(self, text: str) -> Any:
        """Return the value of a cell or field as typed; raises ValueProblem."""
        return self.reads(sound(bare(text)))

    def as_typed(self, value: Any) -> str:
        """Return a value as somebody would type it."""
        if value is None:
            return ""
        if self.kept is Kept.WORDS:
            return ";".join(value)
        if isinstance(value, Decimal):
            return format(value.normalize(), "f")
        return str(value)

    def with_unit(self, value: Any) -> str:
        """Return a value as a page says it, with its unit; nothing where it is not known."""
        said = ", ".join(value) if self.kept is Kept.WORDS else self.as_typed(value)
        return f"{said} {self.unit}" if said and self.unit else said

    def wrong_words(self, value: Any) -> str:
        """Return why words that the register holds can't stand so; nothing where they can.

        An earlier release took them by the form, and no rule goes by them.
        """
        if not self.words or value == self.unknown:
            return ""
        try:
            self.read(self.as_typed(value))
        except ValueProblem as problem:
            return problem.remedy
        return ""

    def words_of(self, value: Any) -> Collection[str]:
        """Return the words of a value; none where nothing is known."""
        return value if self.kept is Kept.WORDS else ((value,) if value else ())

    def as_json(self, value: Any) -> Any:
        """Return a value as a version keeps it: days and numbers as text."""
        if self.kept is Kept.WORDS:
            return list(value)
        return str(value) if isinstance(value, date | Decimal) else value

    def revived(self, held: Any) -> Any:
        """Return the value that a version keeps; None is not known."""
        if held is None:
            return self.unknown
        if self.kept is Kept.NUMBER:
            return Decimal(held)
        if self.kept is Kept.WORDS:
            return tuple(held)
        return date.fromisoformat(held) if self.kept is Kept.DAY else held


def _text(name_: str, label: str, longest: int, **more: Any) -> Fact:
    return Fact(name_, label, partial(codes.name, longest=longest), longest=longest, **more)


def _closed(name_: str, label: str, words: type[StrEnum], what: str, **more: Any) -> Fact:
    pick = Vocabulary(list(words), what).pick
    return Fact(name_, label, pick, words=tuple(words), closed=True, **more)


def _number(name_: str, label: str, low: str, high: int, unit: str, **more: Any) -> Fact:
    """Return a fact that is a number. Beyond the ends a unit or a point must be mistaken."""
    places = 2 if unit == "bar" else 3
    measure = Measure(Decimal(low), Decimal(high), unit, places)
    return Fact(name_, label, measure.read, Kept.NUMBER, unit, measure=measure, **more)


def _years(text: str) -> int:
    return whole(text, *LIFE_YEARS, "years")


FACTS: Mapping[str, Fact] = {
    fact.name: fact
    for fact in (
        Fact("tag", "Tag", codes.code, longest=codes.LONGEST_CODE, needed=True, rule_key=False),
        _closed("kind", "Kind", Kind, "a kind of item", needed=True),
        _text("maker", "Maker", 80, needed=True),
        _text("model", "Model", 80),
        Fact(
            "serial", "Serial", codes.code, longest=codes.LONGEST_CODE, needed=True, rule_key=False
        ),
        Fact(
            "made_on",
            "Made on",
            month_or_day,
            Kept.DAY,
            rule_key=False,
            help="YYYY-MM-DD, or YYYY-MM where only the month is known",
        ),
        Fact("in_service_on", "In service on", day, Kept.DAY, rule_key=False, help="YYYY-MM-DD"),
        Fact(
            "specification",
            "Specification",
            Specifications(SPECIFICATIONS).read,
            of_cylinders=True,
            words=SPECIFICATIONS,
            longest=LONGEST,
            help="as stamped, with hyphens for spaces, such as EN-12245",
        ),
        _closed(
            "construction",
            "Construction",
            Construction,
            "a construction",
            of_cylinders=True,
        ),
        _closed("fibre", "Fibre", Fibre, "a fibre", of_cylinders=True),
        # Marks and a design life are put on masks and reducers too (general-apparatus.toml).
        Fact("marks", "Marks", Marks(MARKS).read, Kept.WORDS, words=tuple(MARKS)),
        _number("water_capacity_l", "Water capacity", "0.1", 150, "L", of_cylinders=True),
        _number("working_pressure_bar", "Working pressure", "1", 1000, "bar"),
        _number("test_pressure_bar", "Test pressure", "1", 1500, "bar", of_cylinders=True),
        _number("tare_kg", "Tare mass", "0.1", 200, "kg", of_cylinders=True),
        _number("ree_ml", "Rejection elastic expansion", "0.1", 5000, "mL", of_cylinders=True),
        Fact(
            "design_life_years",
            "Design life",
            _years,
            Kept.WHOLE,
            "years",
            help="as marked; leave it empty where the life is not limited",
        ),
        _text("connection", "Connection", 40, words=CONNECTIONS),
        _text("size", "Size", 20),
    )
}
"""Every fact of an item, by name, in the order of lists and forms. The site is none: a place."""

NAMES = ("tag", "kind", "maker", "model")
"""The facts that name an item and its type; all others are attributes of the item itself."""
TO_MONTH = "made_to_month"
"""The attribute that says of the made date that only its month is known."""
ATTRIBUTES = (*(each for each in FACTS if each not in NAMES), TO_MONTH)
CHOSEN = tuple(fact for fact in FACTS.values() if fact.words and not fact.closed)
"""The facts that are chosen from known words, beside which others may come."""
OF_TYPES: Mapping[str, Fact] = {
    name: replace(
        FACTS["connection"], label=label, help="used where the item itself names no connection"
    )
    for name, label in (
        ("inlet", "Connection that takes the air in"),
        ("outlet", "Connection that gives the air on"),
    )
}
"""The connections that a type states, by their names there: the same words as an item's own."""
OF_CYLINDERS = tuple(fact.name for fact in FACTS.values() if fact.of_cylinders)
RULE_KEYS = tuple(fact.name for fact in FACTS.values() if fact.rule_key)
"""What rows of rule tables may go by, beside the site's code."""


def plate_of(maker: str, serial: str) -> tuple[str, str]:
    """Return what tells items apart: a maker written in other capitals is the same maker."""
    return maker.casefold(), serial


def whole_version(known: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a version keeps of an item, whatever release wrote it, with every key of today.

    A fact that did not exist then has no key in it, and so is not known.
    """
    nothing = {each: fact.as_json(fact.unknown) for each, fact in FACTS.items()}
    return {**nothing, TO_MONTH: False, **known}


def revived(known: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a version, by fact."""
    held = whole_version(known)
    facts = {each: fact.revived(held[each]) for each, fact in FACTS.items()}
    return {**facts, TO_MONTH: held[TO_MONTH]}


def misfits(
    known: Mapping[str, Any], said: Collection[str], *, today: date | None, site: str
) -> Iterator[tuple[str, str]]:
    """Yield (fact, remedy) for what can't be true of one item together.

    known: the values that were read, by fact. said: the facts of which something was said, be
    it refused. today: at the site, by its code; None where the site is not known.
    """
    kind = known.get("kind") or Kind.CYLINDER
    yield from (
        _cylinder_that_misfits(known)
        if kind == Kind.CYLINDER
        else (
            (name, f"belongs to cylinders only; empty the cell, as this is {a_kind(kind)}")
            for name in OF_CYLINDERS
            if name in said
        )
    )
    yield from _days_that_misfit(known, today, site)


def _cylinder_that_misfits(known: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if known.get("construction") == Construction.TYPE_1 and known.get("fibre"):
        yield "fibre", "can't be on a type-1 cylinder, which is all metal; correct one of the two"
    working, tested = known.get("working_pressure_bar"), known.get("test_pressure_bar")
    if working and tested and tested < working:
        yield (
            "test_pressure_bar",
            f"is below the working pressure of {working} bar; correct one of the two",
        )


def _days_that_misfit(
    known: Mapping[str, Any], today: date | None, site: str
) -> Iterator[tuple[str, str]]:
    made, put = known.get("made_on"), known.get("in_service_on")
    if today and made and made > today:
        yield "made_on", f"is in the future; at {site} today is {today.isoformat()}"
    if today and put and put > _years_on(today, YEARS_AHEAD):
        yield (
            "in_service_on",
            f"is more than {YEARS_AHEAD} years ahead; at {site} today is {today.isoformat()}",
        )
    # A month of make counts as its first day, so any day of that month is late enough.
    if put and made and put < made:
        said = f"{made:%Y-%m}" if known.get(TO_MONTH) else str(made)
        yield "in_service_on", f"is before it was made, {said}; correct one of the two"


def _years_on(today: date, years: int) -> date:
    try:
        return today.replace(year=today.year + years)
    except ValueError:  # 29 February
        return today.replace(year=today.year + years, day=28)
