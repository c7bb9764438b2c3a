"""What the invented fleet is drawn from: `fixtures/demo/valley.toml` as plain values."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

Row = Mapping[str, Any]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Place:
    """A site, and when somebody there goes through the monthly checks.

    least_ready: its least number of ready sets; None where none is asked.
    """

    code: str
    name: str
    parent: str
    timezone: str
    rule_tables: tuple[str, ...] = ()
    check_day: int = 0
    checks_since_months: int = 0
    least_ready: int | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who does work of one sort, everywhere or at some sites."""

    name: str
    work: str
    sites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Model:
    """One maker's model. `cylinder`: the columns of cylinders; marks and a life on others too.

    stated: what its items weigh and fit, as text. approved: of a set, the keys of models.
    serves_as, shows: of an instrument, what it is used as and its ranges, as on its plate.
    hours_a_month: how long a compressor runs, for its meter.
    """

    key: str
    kind: str
    maker: str
    model: str
    service: tuple[str, ...]
    connection: str = ""
    sizes: tuple[str, ...] = ("",)
    working_pressure_bar: str = ""
    cylinder: Mapping[str, str] = field(default_factory=dict)
    expansion_ml_per_l: float = 0
    stated: Mapping[str, str] = field(default_factory=dict)
    approved: tuple[str, ...] = ()
    serves_as: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()
    hours_a_month: float = 0


@dataclass(frozen=True, slots=True)
class Delivery:
    """Items of one model that came together. Its `sites` say how many went where."""

    model: str
    serials: str
    first_serial: int
    sites: Mapping[str, int]
    made_months_ago: int | None = None
    life_ends_in_days: int | None = None
    made_known_to: str = "day"
    retest_due_in_months: int | None = None


@dataclass(frozen=True, slots=True)
class Rhythm:
    """A habit of servicing: what is done on one day, and how often at the least."""

    key: str
    steps: tuple[str, ...]
    months: int
    counted_from: str
    lot: int
    history_months: int
    by: str
    note: str = ""
    first_months: int = 0


@dataclass(frozen=True, slots=True)
class Reading:
    """What a good test reads: a number from `low` to `high` with so many places."""

    kind: str
    task: str
    name: str
    low: float
    high: float
    places: int


@dataclass(frozen=True, slots=True)
class Setback:
    """A failure that is put right on the same day, in so many of a hundred tests."""

    kind: str
    task: str
    percent: int
    note: str
    readings: Mapping[str, str]
    remedy: str
    new_part: bool


@dataclass(frozen=True, slots=True)
class Use:
    """How far back use was brought in, and how many days before the end it stops."""

    history_months: int
    clear_days: int
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Crew:
    """How often sets of a site go out, and how many at a time."""

    site: str
    every_days: int
    sets: int


@dataclass(frozen=True, slots=True)
class Assembly:
    """A site whose sets are assembled; so many of them with a connector."""

    site: str
    connectors: int = 0


@dataclass(frozen=True, slots=True)
class Swap:
    """What was changed in a set so long ago. part: what went in, "" where nothing did."""

    title: str
    set: str
    place: str
    part: str
    ago: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Pool:
    """Cylinders at the filling point that are filled by turns."""

    site: str
    models: tuple[str, ...]
    every_days: int
    history_months: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """Records taken away from some items and others put in their place."""

    title: str
    tags: tuple[str, ...]
    drop: tuple[str, ...] = ()
    drop_from: Mapping[str, int] = field(default_factory=dict)
    drop_from_month: int | None = None
    rows: tuple[Row, ...] = ()


@dataclass(frozen=True, slots=True)
class Valley:
    """Everything the fleet is drawn from."""

    seed: str
    tags: Mapping[str, Row]
    places: tuple[Place, ...]
    people: tuple[Person, ...]
    models: Mapping[str, Model]
    deliveries: tuple[Delivery, ...]
    rhythms: Mapping[str, Rhythm]
    readings: tuple[Reading, ...]
    setbacks: tuple[Setback, ...]
    use: Use
    crews: tuple[Crew, ...]
    assemblies: tuple[Assembly, ...]
    swaps: tuple[Swap, ...]
    pool: Pool
    troubles: tuple[Trouble, ...]

    def people_for(self, work: str, site: str) -> tuple[str, ...]:
        """Return the names of those who do such work at a site."""
        return tuple(
            person.name
            for person in self.people
            if person.work == work and (not person.sites or site in person.sites)
        )


def read_valley(data: Mapping[str, object]) -> Valley:
    """Return the parsed file as plain values. A key that nobody reads raises TypeError."""
    raw = cast(Row, data)
    return Valley(
        seed=raw["seed"],
        tags=raw["tags"],
        places=_all(Place, raw["site"]),
        people=_all(Person, raw["person"]),
        models={model.key: model for model in _all(Model, raw["model"])},
        deliveries=_all(Delivery, raw["delivery"]),
        rhythms={rhythm.key: rhythm for rhythm in _all(Rhythm, raw["rhythm"])},
        readings=_all(Reading, raw["reading"]),
        setbacks=_all(Setback, raw["setback"]),
        use=_one(Use, raw["use"]),
        crews=_all(Crew, raw["crew"]),
        assemblies=_all(Assembly, raw["assembly"]),
        swaps=_all(Swap, raw["swap"]),
        pool=_one(Pool, raw["pool"]),
        troubles=_all(Trouble, raw["trouble"]),
    )


def _all(form: type[T], rows: list[Row]) -> tuple[T, ...]:
    return tuple(_one(form, row) for row in rows)


def _one(form: type[T], row: Row) -> T:
    return form(**{key: _frozen(value) for key, value in row.items()})


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
