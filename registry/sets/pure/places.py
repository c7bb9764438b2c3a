"""Where parts go in a set. No Django, no clock."""

from collections.abc import Iterable
from enum import StrEnum

from registry.items.pure import Kind, a_kind


class Place(StrEnum):
    """A place in a set, in the order in which air passes, the frame that carries all first."""

    FRAME = "frame"
    CYLINDER = "cylinder"
    CYLINDER_2 = "cylinder-2"
    CONNECTOR = "connector"
    REDUCER = "reducer"
    DEMAND_VALVE = "demand-valve"
    MASK = "mask"


CYLINDERS = (Place.CYLINDER, Place.CYLINDER_2)
MANDATORY = (Place.FRAME, Place.CYLINDER, Place.REDUCER, Place.DEMAND_VALVE, Place.MASK)
"""Without these nobody can breathe from a set; an adapter or a second cylinder is a choice."""


class NoPlace(ValueError):
    """A thing of this kind is no part of a set; the text says so."""


def places_for(kind: str) -> tuple[Place, ...]:
    """Return the places that a kind may take, the usual one first. Raises NoPlace for none."""
    if kind == Kind.CYLINDER:
        return CYLINDERS
    if kind in Place.__members__.values():
        return (Place(kind),)
    raise NoPlace(f"{a_kind(kind.replace('-', ' ')).capitalize()} is no part of a set.")


def place_for(kind: str, taken: Iterable[str], *, joins: int) -> Place:
    """Return the place that a scanned part goes to.

    taken: the places that are filled. joins: how many cylinders the fitted connector
    joins; with a tee (2) the second cylinder goes beside the first. A place that is
    taken already is answered where there is no free one: the part there comes out.
    """
    found = places_for(kind)
    filled = set(taken)
    if found == CYLINDERS and joins == len(CYLINDERS):
        return next((place for place in found if place not in filled), found[0])
    return found[0]


def missing(taken: Iterable[str], *, joins: int) -> tuple[Place, ...]:
    """Return the mandatory places that are empty; a tee must have both its cylinders."""
    needed = (*MANDATORY, Place.CYLINDER_2) if joins == len(CYLINDERS) else MANDATORY
    filled = set(taken)
    return tuple(place for place in Place if place in needed and place not in filled)
