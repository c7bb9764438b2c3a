"""What must be known of a part to say what it fits, and what is said about it."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from registry.sets.pure.places import Place


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a set as plain values. An empty text, 0 or None means: not stated.

    inlet: the connection that takes the air in, outlet: the one that gives it on; the same
    word on two parts means that they are made for each other. pressure_bar: the highest
    cylinder pressure (gauge) it is made for, of a cylinder its working pressure.
    type_id: what the list of approved parts names. joins: of a connector, how many
    cylinders it takes. mass_kg: without air; of a cylinder its tare.
    """

    tag: str
    kind: str
    maker: str = ""
    type_id: int = 0
    type_name: str = ""
    inlet: str = ""
    outlet: str = ""
    pressure_bar: Decimal | None = None
    water_capacity_l: Decimal | None = None
    mass_kg: Decimal | None = None
    breathing: str = ""
    joins: int = 0

    @property
    def name(self) -> str:
        """What people call it: cylinder C117."""
        return f"{self.kind.replace('-', ' ')} {self.tag}"


class Word(StrEnum):
    """What is found of a pair of parts, the worst first."""

    REFUSED = "refused"
    NOT_STATED = "not-stated"
    FITS = "fits"


@dataclass(frozen=True, slots=True)
class Finding:
    """What is found about some places of a set, why, by which source, and how that was seen.

    seen: text, secondary, memory, register for what somebody stated here, or practice for
    common practice without a source.
    """

    word: Word
    places: frozenset[Place]
    reason: str
    source: str
    seen: str

    @property
    def sourced(self) -> str:
        """The source with how it was seen, as screens and papers show it."""
        alone = {"practice": "common practice", "register": self.source}
        return alone.get(self.seen) or f"{self.source} [{self.seen}]"

    @property
    def sentence(self) -> str:
        """The reason with its source, as a sentence of its own."""
        return f"{self.reason[:1].upper()}{self.reason[1:]} ({self.sourced})"


def bar(value: Decimal) -> str:
    """Return a pressure in words, such as 300 bar."""
    return f"{value.normalize():f} bar"
