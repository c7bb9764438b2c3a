"""What is doubtful in rule tables that read without a fault: for people to look at."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from registry.items.facts import OF_CYLINDERS
from registry.items.pure import Kind
from servicing.rules.pure.clocks import PLAIN, Start
from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Condition, OneOf, Range, Rule

CYLINDER_WORDS = frozenset(OF_CYLINDERS)
ON_PURPOSE = "hardly ever governs"
"""What the note of a row says that is there only so that the explanation shows it."""


@dataclass(frozen=True, slots=True, order=True)
class Doubt:
    """Something in a table that may be meant otherwise: which rule, what, what to do."""

    table: str
    rule: str
    what: str

    def __str__(self) -> str:
        return f"{self.table}: {self.rule}: {self.what}"


def doubts(
    rules: Sequence[Rule],
    known_tasks: frozenset[str],
    includes: Mapping[str, Sequence[str]] = MappingProxyType({}),
) -> list[Doubt]:
    """Return every doubt about a set of rules, sorted by table and rule.

    known_tasks: tasks and events that lists may contain beside those the rules ask for.
    includes: by a table's name those it takes along; their rows stand beside its own.
    """
    asked = {rule.task for rule in rules}
    beside: dict[str, set[str]] = {rule.table: {rule.table} for rule in rules}
    for table, others in includes.items():
        for other in others:
            beside.setdefault(other, {other}).add(table)
    found = [
        *(d for rule in rules for d in _alone(rule, asked | known_tasks)),
        *_overlaps(rules, beside),
        *_without_effect(rules, beside),
        *_gaps(rules),
    ]
    return sorted(set(found))


def tasks_without_a_rule(rules: Iterable[Rule]) -> dict[str, list[str]]:
    """Return, by task, the kinds that no rule asks it of though one asks it of others.

    Most are as they should be (nobody calibrates a mask); it is for a person to read.
    """
    kinds: dict[str, set[str]] = defaultdict(set)
    for rule in rules:
        kinds[rule.task] |= _kinds(rule.when)
    return {task: sorted(set(Kind) - has) for task, has in sorted(kinds.items()) if has != {*Kind}}


def _alone(rule: Rule, tasks: frozenset[str] | set[str]) -> Iterable[Doubt]:
    """Yield what is doubtful about one rule by itself."""
    if rule.unless is not None and _covers(rule.unless, rule.when):
        yield Doubt(rule.table, rule.id, "can never match: `unless` takes away all of `when`")
    for name, test in rule.when.tests:
        empty = isinstance(test, Range) and (
            test.min is not None and test.max is not None and test.min > test.max
        )
        if empty:
            yield Doubt(rule.table, rule.id, f"can never match: {name} has min above max")
    tests = dict(rule.when.tests)
    if CYLINDER_WORDS & tests.keys() and Kind.CYLINDER not in _kinds(rule.when):
        word = min(CYLINDER_WORDS & tests.keys())
        yield Doubt(rule.table, rule.id, f"can never match: only cylinders have a {word}")
    if not rule.edition or rule.checked_on is None:
        yield Doubt(rule.table, rule.id, "says not which edition was read, or on which day")
    yield from _of_clock(rule)
    for task in rule.satisfied_by:
        if task not in tasks:
            yield Doubt(rule.table, rule.id, f"satisfied_by names {task}, which nothing asks for")
        if task == rule.task:
            yield Doubt(rule.table, rule.id, "satisfied_by names its own task; take it out")


def _of_clock(rule: Rule) -> Iterable[Doubt]:
    """Yield what is doubtful about how a rule counts."""
    late, every, other = rule.clock.late, rule.every, rule.clock.other
    if late and late.within and every and late.within.months >= every.months + every.days // 31:
        what = "a late pass may be due again at once: clock.late is no shorter than every"
        yield Doubt(rule.table, rule.id, what)
    if other and every and other.start is Start.RECORD:
        longer = _days(other.every) > _days(every)
        decided = "never governs" if longer != other.later else "always governs"
        yield Doubt(rule.table, rule.id, f"clock.other {decided}: both count from the last pass")


def _overlaps(rules: Sequence[Rule], beside: Mapping[str, set[str]]) -> Iterable[Doubt]:
    """Yield pairs of one table and level that match the same items at the same time and differ.

    beside: by a row's table those in which it holds, itself among them.
    """
    groups: dict[tuple[str, str, str, Condition], list[Rule]] = defaultdict(list)
    for rule in rules:
        if rule.every or rule.calendar or rule.life:
            for table in beside[rule.table]:
                groups[table, rule.level, rule.task, rule.when].append(rule)
    for same in groups.values():
        for number, one in enumerate(same):
            for other in same[number + 1 :]:
                if (
                    one.unless == other.unless
                    and _together(one, other)
                    and _period(one) != _period(other)
                ):
                    what = f"asks the same items as {other.id} and disagrees; the shorter governs"
                    yield Doubt(one.table, one.id, what)


def _without_effect(rules: Sequence[Rule], beside: Mapping[str, set[str]]) -> Iterable[Doubt]:
    """Yield rows that a wider row of their table and level always forestalls.

    Mostly a longer interval whose wider row lacks the `unless` that would make way for it.
    A row whose note says ON_PURPOSE has been thought about.
    """
    for one in rules:
        for other in rules:
            alike = (one.task, one.level) == (other.task, other.level)
            # Idle only where the other holds in every table in which this one does.
            alike = alike and beside[one.table] <= beside[other.table]
            if one is other or not alike or one.every is None or other.every is None:
                continue
            longer = _days(one.every) > _days(other.every)
            if longer and _within(one, other) and ON_PURPOSE not in one.note:
                yield Doubt(one.table, one.id, f"never governs: {other.id} asks the same sooner")


def _within(one: Rule, other: Rule) -> bool:
    """Say whether whatever the first row means the second means too, whenever it is in force.

    A row with a clock of its own may come first even where its interval is longer.
    """
    return (
        _covers(other.when, one.when)
        and other.unless in (None, one.unless)
        and one.counted_from is other.counted_from
        and one.clock == other.clock == PLAIN
        and (other.valid_from is None or other.valid_from == one.valid_from)
        and (other.valid_until is None or other.valid_until == one.valid_until)
    )


def _days(span: Duration) -> float:
    return span.months * 30.44 + span.days


def _gaps(rules: Sequence[Rule]) -> Iterable[Doubt]:
    """Yield rules that end on a day from which no other asks the same of the same items."""
    for rule in rules:
        if rule.valid_until is None:
            continue
        follows = any(
            other is not rule
            and (other.task, other.when, other.unless) == (rule.task, rule.when, rule.unless)
            and other.in_force(rule.valid_until)
            for other in rules
        )
        if not follows:
            what = f"ends on {rule.valid_until.isoformat()} and nothing asks the same from that day"
            yield Doubt(rule.table, rule.id, what)


def _covers(outer: Condition, inner: Condition) -> bool:
    """Say whether whatever the inner condition matches, the outer one matches too."""
    tests = dict(inner.tests)
    return all(
        isinstance(test, OneOf)
        and isinstance(within := tests.get(name), OneOf)
        and within.values <= test.values
        for name, test in outer.tests
    )


def _together(one: Rule, other: Rule) -> bool:
    """Say whether two rules are in force on some day both."""
    starts = one.valid_from is None or other.valid_until is None
    return (starts or one.valid_from < other.valid_until) and (  # type: ignore[operator]
        other.valid_from is None or one.valid_until is None or other.valid_from < one.valid_until
    )


def _period(rule: Rule) -> object:
    how = (rule.every, rule.calendar, rule.life, rule.month_end)
    return (*how, rule.counted_from, rule.clock)


def _kinds(when: Condition) -> set[str]:
    for name, test in when.tests:
        if name == "kind" and isinstance(test, OneOf):
            return {str(value) for value in test.values}
    return {*Kind}
