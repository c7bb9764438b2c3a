"""A rule and an item in words: all that a person needs who compares a row with its source."""

from collections.abc import Iterable, Iterator

from registry.items.facts import FACTS
from servicing.due.pure.explain import OTHER_START, duration_words
from servicing.rules.pure.bars import bars_words
from servicing.rules.pure.clocks import Clock
from servicing.rules.pure.rule import Attributes, Basis, Condition, OneOf, Range, Rule, Value

_FIRST = {
    Basis.MADE: "first from the made date, then from the last pass",
    Basis.IN_SERVICE: "first from the day it was put in service, then from the last pass",
    Basis.AT_ONCE: "first due on the day it is put in service, then from the last pass",
    Basis.PART_MADE: "first from the made date, then from the day the new part was made",
}
_LIFE = {Basis.IN_SERVICE: "from the day it was put in service"}


def meant(rule: Rule) -> str:
    """Return which items a rule means, such as `cylinder; specification DOT-3A; but not ...`."""
    words = _condition(rule.when)
    return words if rule.unless is None else f"{words}; but not {_condition(rule.unless)}"


def counting(rule: Rule) -> str:
    """Return from what a rule counts, to which day, what counts beside its task, and its notice."""
    parts = []
    if rule.every or rule.calendar:
        parts.append(_FIRST[rule.counted_from])
    if rule.is_life:
        parts.append(_LIFE.get(rule.counted_from, "from the made date"))
    if rule.month_end:
        parts.append(f"good through the end of the month{_by(rule.clock.due_clause)}")
    parts += _clock(rule.clock)
    if rule.satisfied_by:
        parts.append(f"a passed {_either(_words(task) for task in rule.satisfied_by)} counts too")
    if not (rule.after or rule.counts):
        parts.append(f"due soon {duration_words(rule.notice)} before")
    return "; ".join(parts)


def barring(rule: Rule) -> str:
    """Return what a rule forbids once it is overdue, and by which text, if it names one."""
    return f"overdue it {bars_words(rule.bars)}{_by(rule.bars_by)}"


def _clock(clock: Clock) -> Iterator[str]:
    """Yield what a row's clock says beside its period, each with its clause."""
    if late := clock.late:
        most = (
            f" up to the end of the month {duration_words(late.within)} after"
            if late.within
            else ""
        )
        yield f"a pass after the due date{most} counts from that date{_by(late.clause)}"
    if late and late.unless_out:
        yield (
            "what was withdrawn or quarantined on the due date and not returned before the pass "
            "counts from the pass"
        )
    if early := clock.early:
        most = duration_words(early.within)
        yield f"a pass up to {most} early keeps the due date{_by(early.clause)}"
    if start := clock.start:
        counted = ", which is the first of the period" if start.counted else ""
        runs = f"it runs from the last day of the month before the stamped one{counted}"
        yield f"{runs}{_by(start.clause)}"
    if other := clock.other:
        which = "later" if other.later else "sooner"
        second = f"{duration_words(other.every)} from {OTHER_START[other.start]}"
        yield f"beside it runs {second}: the {which} date counts{_by(other.clause)}"
    if hours := clock.hours:
        read = "read off its meter at that pass and since"
        yield f"due at once when {hours.limit} hours were run, {read}{_by(hours.clause)}"


def _by(clause: str) -> str:
    return f" ({clause})" if clause else ""


def described(attributes: Attributes) -> str:
    """Return an item's attributes in words, its kind first."""
    others = sorted(name for name in attributes if name != "kind")
    named = [f"{_label(name)} {_value(attributes[name])}" for name in others]
    return ", ".join([_value(attributes.get("kind", "item")), *named])


def _condition(condition: Condition) -> str:
    kind_first = sorted(condition.tests, key=lambda pair: pair[0] != "kind")
    return "; ".join(
        _test(test) if name == "kind" else f"{_label(name)} {_test(test)}"
        for name, test in kind_first
    )


def _test(test: OneOf | Range) -> str:
    if isinstance(test, OneOf):
        return _either(map(_value, sorted(test.values, key=str)))
    ends = ((test.min, "at least"), (test.max, "at most"))
    return " and ".join(f"{word} {end}" for end, word in ends if end is not None)


def _value(value: Value) -> str:
    if isinstance(value, frozenset):
        return " and ".join(sorted(value)) or "none"
    return str(value) or "not entered"


def _either(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def _label(name: str) -> str:
    """Return an attribute's name as people say it, its unit in brackets."""
    if (fact := FACTS.get(name)) is None:
        return _words(name)
    label = fact.label.lower()
    return f"{label} ({fact.unit})" if fact.unit else label


def _words(text: str) -> str:
    return text.replace("-", " ").replace("_", " ")
