"""How many sets of a station are ready, and which station a change leaves with too few.

Plain values in, frozen values out. No database, no clock.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Station:
    """A site with its least number of ready sets, None where none is asked.

    sites: the ids of itself and of the sites below it, whose sets count as its own.
    """

    code: str
    name: str
    least: int | None
    sites: frozenset[int]


@dataclass(frozen=True, slots=True)
class Stood:
    """A set as it stood: at which site, ready or not, and the sentence that says so."""

    tag: str
    site: int
    ready: bool
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Fall:
    """A station that a change leaves with fewer ready sets than its least number."""

    code: str
    name: str
    least: int
    before: int
    after: int

    @property
    def falls(self) -> str:
        """The verb: a station that is below its least number already falls further."""
        return "falls further below" if self.before < self.least else "falls below"

    @property
    def words(self) -> str:
        """Say it by name: from how many to how many, and how many are the least."""
        return (
            f"{self.name} {self.falls} its least number: from {self.before} to {self.after} "
            f"ready set{'s' * (self.after != 1)}, and {self.least} "
            f"{'is' if self.least == 1 else 'are'} the least"
        )


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What a change takes from the stations. stops: the sets that are ready no more, by tag."""

    falls: tuple[Fall, ...] = ()
    stops: tuple[Stood, ...] = ()

    @property
    def key(self) -> str:
        """What tells this shortfall from any other: who ticks that they know it sends it back."""
        said = (self.falls, [stood.tag for stood in self.stops])
        return hashlib.sha256(repr(said).encode()).hexdigest()[:16]


def shortfall(
    before: Mapping[int, Stood], after: Mapping[int, Stood], stations: Iterable[Station]
) -> Shortfall:
    """Return which stations a change leaves below their least number, and which sets stop.

    before, after: sets by id. All sets of the stations must be among them. A station that
    was below already and loses another one falls too; one that gains or stays does not.
    """
    falls = []
    for station in stations:
        was, becomes = (ready_at(station, sets.values()) for sets in (before, after))
        if station.least is not None and becomes < min(was, station.least):
            falls.append(Fall(station.code, station.name, station.least, was, becomes))
    stops = [
        after.get(pk, Stood(stood.tag, stood.site, ready=False))
        for pk, stood in before.items()
        if stood.ready and not (pk in after and after[pk].ready)
    ]
    return Shortfall(tuple(falls), tuple(sorted(stops, key=lambda stood: stood.tag)))


def ready_at(station: Station, sets: Iterable[Stood]) -> int:
    """Return how many sets of a station are ready."""
    return sum(stood.ready and stood.site in station.sites for stood in sets)
