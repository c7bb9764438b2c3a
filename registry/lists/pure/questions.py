"""What is asked about a list of items before it is believed. A question refuses nothing.

Whoever brings 600 rows wants them in: a tag that only looks like another one may be right, and
so may a life that nobody wrote down. Both are named, once each, for somebody to look at.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from registry.lists.pure.problems import Problem
from registry.lists.pure.raw import fault
from registry.lists.pure.register import ItemRow
from registry.scanning.pure.likeness import difference, readings

NOT_LIMITED = "nll"
"""The mark by which somebody says that a life is not limited, having read it on the item."""
NAMED = 5
TypeName = tuple[str, str, str]
"""Kind, maker and model."""


@dataclass(frozen=True, slots=True)
class Held:
    """What the register holds, for asking about new rows.

    tags: every tag. former: tags that were replaced, with the tag that their item carries
    now. lives: the design lives in years that items of a type have.
    """

    tags: Iterable[str]
    former: Mapping[str, str]
    lives: Mapping[TypeName, Sequence[int]]


def questions(file: str, rows: Sequence[ItemRow], held: Held) -> list[Problem]:
    """Return what is asked about the new items of a list, by line.

    rows: those that were read without a problem; what is registered already is not asked about.
    """
    known = set(held.tags)
    new = [row for row in rows if row.tag not in known]
    return sorted([*_about_tags(file, new, held), *_about_lives(file, rows, new, held)])


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
        if row.design_life_years:
            lives[_type_of(row)].append(row.design_life_years)
    lacking: dict[TypeName, list[ItemRow]] = defaultdict(list)
    for row in new:
        if asks_for_life(row.made_on, row.design_life_years, row.marks) and lives[_type_of(row)]:
            lacking[_type_of(row)].append(row)
    for name, found in lacking.items():
        first, lines = found[0], [str(row.line) for row in found[1:]]
        more = f" in lines {', '.join(lines[:NAMED])}" if lines else ""
        more += f" and {len(lines) - NAMED} more" if len(lines) > NAMED else ""
        also = f" (nor have those{more})" if lines else ""
        years = Counter(lives[name]).most_common(1)[0][0]
        said = (
            f"is empty{also}, and others of {' '.join(filter(None, name[1:]))} have {years} years; "
            f"write it as marked, or the mark {NOT_LIMITED} where it is not limited"
        )
        yield fault(file, first.line, "design_life_years", first.tag, said)


def asks_for_life(made_on: object, years: int | None, marks: Iterable[str]) -> bool:
    """Say whether an item whose type has a design life must be asked for its own.

    made_on: the day, None where it is not known: then nothing could be counted.
    """
    return bool(made_on) and not years and NOT_LIMITED not in marks


def _type_of(row: ItemRow) -> TypeName:
    return row.kind, row.maker, row.model
