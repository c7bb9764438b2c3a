"""One row of a rule table: which items, which task, how often, from what, by which source."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from servicing.rules.pure.bars import LIFE, Bars
from servicing.rules.pure.clocks import PLAIN, Clock
from servicing.rules.pure.durations import Duration

Value = str | Decimal | int | frozenset[str]
Attributes = Mapping[str, Value]
"""What is known of an item, by the column names of the register; what is unknown is absent."""

SERVICE_LIFE = LIFE
ONE_MONTH = Duration(1)


class Level(StrEnum):
    """Who asks for it. The order is the order in which ties are decided."""

    LAW = "law"
    STANDARD = "standard"
    MAKER = "maker"
    LOCAL = "local"


LEVEL_ORDER = {level: number for number, level in enumerate(Level)}


class Basis(StrEnum):
    """What the first period counts from while there is no record."""

    MADE = "made"
    IN_SERVICE = "in-service"
    AT_ONCE = "at-once"
    PART_MADE = "part-made"


@dataclass(frozen=True, slots=True)
class Range:
    """A closed span of numbers; an end that is None is open."""

    min: Decimal | None = None
    max: Decimal | None = None

    def holds(self, value: Value | None) -> bool:
        """Say whether a number lies in the span. What is unknown or no number never does."""
        if not isinstance(value, Decimal | int):
            return False
        return (self.min is None or value >= self.min) and (self.max is None or value <= self.max)


@dataclass(frozen=True, slots=True)
class OneOf:
    """A list of values, any of which will do. Numbers are compared as numbers."""

    values: frozenset[Value]

    def holds(self, value: Value | None) -> bool:
        """Say whether the value is listed; a set of values (marks) needs one in common.

        What is unknown is listed only where the list names the empty text.
        """
        if value is None:
            return "" in self.values
        if isinstance(value, frozenset):
            return not value.isdisjoint(self.values) or (not value and "" in self.values)
        return value in self.values


@dataclass(frozen=True, slots=True)
class Condition:
    """Tests on attributes that must all hold."""

    tests: tuple[tuple[str, OneOf | Range], ...]

    def holds(self, attributes: Attributes) -> bool:
        """Say whether an item with these attributes is meant."""
        return all(test.holds(attributes.get(name)) for name, test in self.tests)


@dataclass(frozen=True, slots=True)
class Rule:
    """One row, as DEVELOPERS.md ("What a row of a rule table may say") gives it.

    Exactly one of `every`, `calendar`, `after`, `life`, `life_as_marked` and `counts`
    says how often. `counted_from` is the row's `from`. `valid_from` is inclusive,
    `valid_until` exclusive. `clock`: how a law counts that says more than due/README 2 and
    3. `bars`: what being overdue forbids; `bars_by`: the text that says so, where the row names
    one. `edition`: the edition of the source that was read, or that it was not;
    `checked_on`: the day on which somebody compared the value with it.
    """

    id: str
    table: str
    task: str
    level: Level
    when: Condition
    source: str
    seen: str
    unless: Condition | None = None
    every: Duration | None = None
    calendar: str | None = None
    after: tuple[str, ...] = ()
    life: Duration | None = None
    life_as_marked: bool = False
    counts: str | None = None
    limit: int = 0
    counted_from: Basis = Basis.MADE
    month_end: bool = False
    notice: Duration = ONE_MONTH
    satisfied_by: tuple[str, ...] = ()
    clock: Clock = PLAIN
    bars: Bars = Bars.BOTH
    bars_by: str = ""
    valid_from: date | None = None
    valid_until: date | None = None
    note: str = ""
    edition: str = ""
    checked_on: date | None = None
    text: str = ""
    passes: frozenset[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "passes", frozenset((self.task, *self.satisfied_by)))

    def words(self, name: str) -> frozenset[str]:
        """Return the words that the row goes by in an attribute, be it in `unless`."""
        conditions = filter(None, (self.when, self.unless))
        tests = (test for each in conditions for key, test in each.tests if key == name)
        listed = (test.values for test in tests if isinstance(test, OneOf))
        return frozenset(str(word) for words in listed for word in words if word)

    def in_force(self, on: date) -> bool:
        """Say whether the row is valid on the day."""
        after_start = self.valid_from is None or self.valid_from <= on
        return after_start and (self.valid_until is None or on < self.valid_until)

    def matches(self, attributes: Attributes) -> bool:
        """Say whether an item with these attributes falls under the row."""
        return self.when.holds(attributes) and not (
            self.unless is not None and self.unless.holds(attributes)
        )

    @property
    def is_life(self) -> bool:
        """Whether the row ends an item's service life by age."""
        return self.life is not None or self.life_as_marked


@dataclass(frozen=True, slots=True)
class Table:
    """A rule table: its name, what it is for, the caution it is shown with, its own rows.

    includes: the tables whose rows hold wherever this one is followed.
    """

    name: str
    title: str
    jurisdiction: str
    caution: str
    rules: tuple[Rule, ...]
    includes: tuple[str, ...] = ()
