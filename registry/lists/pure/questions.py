"""What is asked about a list of items before it is believed. A question refuses nothing.

Whoever brings 600 rows wants them in: a tag that only looks like another one may be right, and
so may a life that nobody wrote down or a word that no rule knows. Each is named, once, for
somebody to look at.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from registry.items.facts import CHOSEN, FACTS
from registry.items.pure import NOT_LIMITED
from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import fault
from registry.lists.pure.register import ItemRow
from registry.scanning.pure.likeness import difference, readings

NAMED = 5
TypeName = tuple[str, str, str]
"""Kind, maker and model."""


@dataclass(frozen=True, slots=True)
class Held:
    """What the register holds, for asking about new rows.

    tags: every tag. former: tags that were replaced, with the tag that their item carries
    now. lives: the design lives in years that items of a type have. words: by fact, words that
    stand in the register or in rules already, beside those of the table of facts.
    """

    tags: Iterable[str]
    former: Mapping[str, str]
    lives: Mapping[TypeName, Sequence[int]]
    words: Mapping[str, Collection[str]] = field(default_factory=dict)


def questions(file: str, rows: Sequence[ItemRow], held: Held) -> list[Problem]:
    """Return what is asked about the new items of a list, by line.

    rows: those that were read without a problem. Of what is registered already only a word is
    asked about that is new to the register.
    """
    known = set(held.tags)
    new = [row for row in rows if row.tag not in known]
    asked = (
        *_about_tags(file, new, held),
        *_about_lives(file, rows, new, held),
        *_about_words(file, rows, held),
    )
    return sorted(asked)


def _about_tags(file: str, new: Sequence[ItemRow], held: Held) -> Iterable[Problem]:
    read_as: dict[str, str] = {}
    where: dict[str, str] = {}
    for tag in held.tags:
        where[tag] = "is registered"
    for tag, now in held.former.items():
        where.setdefault(tag, f"was the tag of {now}")
    for tag in where:
        read_as |= dict.fromkeys(filter(None, readings(tag)), tag)
    for row in new:
        alike = [read_as[one] for one in readings(row.tag) if one in read_as]
        if alike:
            tag = alike[0]
            differs = f" ({difference(row.tag, tag)})" if tag != row.tag else ""
            said = f"may be read for {tag}, which {where[tag]}{differs}; is it another item?"
            yield fault(file, row.line, "tag", row.tag, said)
        where.setdefault(row.tag, f"stands in line {row.line}")
        read_as |= dict.fromkeys(filter(None, readings(row.tag)), row.tag)


def _about_lives(
    file: str, rows: Sequence[ItemRow], new: Sequence[ItemRow], held: Held
) -> Iterable[Problem]:
    lives = defaultdict(list, {name: list(years) for name, years in held.lives.items()})
    for row in rows:
        if years := row.attributes["design_life_years"]:
            lives[_type_of(row)].append(years)
    lacking: dict[TypeName, list[ItemRow]] = defaultdict(list)
    for row in new:
        if asks_for_life(row.attributes) and lives[_type_of(row)]:
            lacking[_type_of(row)].append(row)
    for name, found in lacking.items():
        first, more = found[0], _lines(found[1:])
        also = f" (nor have those{more})" if more else ""
        years = Counter(lives[name]).most_common(1)[0][0]
        said = (
            f"is empty{also}, and others of {' '.join(filter(None, name[1:]))} have {years} years; "
            f"write it as marked, or the mark {NOT_LIMITED} where it is not limited"
        )
        yield fault(file, first.line, "design_life_years", first.tag, said)


def _about_words(file: str, rows: Sequence[ItemRow], held: Held) -> Iterable[Problem]:
    """Ask once about each word of a fact that is chosen from known ones, and is none of them."""
    asked: dict[tuple[str, str], list[ItemRow]] = defaultdict(list)
    for fact in CHOSEN:
        known = {*fact.words, *held.words.get(fact.name, ())}
        for row in rows:
            for word in fact.words_of(row.attributes[fact.name]):
                if word not in known:
                    asked[fact.name, word].append(row)
    for (name, word), found in asked.items():
        also = _lines(found[1:])
        label = FACTS[name].label.lower()
        said = f"is no known word for {label}{also and f', here and{also}'}; is it so on the item?"
        yield fault(file, found[0].line, name, word, said)


def asks_for_life(known: Mapping[str, Any]) -> bool:
    """Say whether an item whose type has a design life must be asked for its own.

    known: its facts by name. Without a made date nothing could be counted.
    """
    entered = known.get("design_life_years") or NOT_LIMITED in known.get("marks", ())
    return bool(known.get("made_on")) and not entered


def _lines(rows: Sequence[ItemRow]) -> str:
    """Return where rows stand, as a part of a sentence; nothing for none."""
    lines = [str(row.line) for row in rows]
    more = f" and {len(lines) - NAMED} more" if len(lines) > NAMED else ""
    return f" in lines {', '.join(lines[:NAMED])}{more}" if lines else ""


def _type_of(row: ItemRow) -> TypeName:
    return row.kind, row.maker, row.model
