"""What was fitted to a set, and what would come of fitting another part."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from registry.items.models import Item
from registry.items.pure import Kind
from registry.items.queries import as_known, types_stated
from registry.sets.models import Fitting
from registry.sets.pure.compatibility import findings, touching
from registry.sets.pure.mass import Mass, mass_of
from registry.sets.pure.parts import Finding, Part, Word
from registry.sets.pure.places import Place, missing, place_for
from registry.sets.pure.steps import steps

_LOADED = ("part__type", "part__site", "set__type", "set__site")


@dataclass(frozen=True, slots=True)
class Assembled:
    """A set with its parts: what was fitted where, and what is found of it.

    fitted: by place, in the order of places. plain: the same parts as plain values.
    """

    set: Item
    fitted: dict[Place, Fitting]
    plain: dict[Place, Part]
    findings: tuple[Finding, ...]
    mass: Mass
    missing: tuple[Place, ...]

    @property
    def refused(self) -> tuple[Finding, ...]:
        """What must not be so, the mass included."""
        found = (*self.findings, self.mass.finding())
        return tuple(finding for finding in found if finding.word is Word.REFUSED)


@dataclass(frozen=True, slots=True)
class Plan:
    """What fitting a part to a set would do. occupant: what would come out."""

    place: Place
    occupant: Fitting | None
    findings: tuple[Finding, ...]
    steps: tuple[str, ...]

    def of(self, word: Word) -> tuple[Finding, ...]:
        """Return the findings with a word."""
        return tuple(finding for finding in self.findings if finding.word is word)


def fittings_of(set_item: Item, on: date, known_by: datetime | None = None) -> list[Fitting]:
    """Return what was fitted to a set at the end of a day, in the order of places."""
    return _as_of(set_item.fittings.all(), on, known_by)


def fittings_with(part: Item) -> list[Fitting]:
    """Return every fitting of a part, the latest first."""
    rows = Fitting.objects.filter(part=part).select_related(*_LOADED)
    return list(rows.order_by("-fitted_on", "-fitted_at", "-pk"))


def past_of(set_item: Item) -> list[Fitting]:
    """Return everything that was ever fitted to a set, the latest first."""
    rows = Fitting.objects.filter(set=set_item).select_related(*_LOADED)
    return list(rows.order_by("-fitted_on", "-fitted_at", "-pk"))


def has_place(item: Item) -> bool:
    """Say whether a set has a place for an item of this kind."""
    return item.kind in Place.__members__.values()


def set_of(part: Item, on: date, known_by: datetime | None = None) -> Fitting | None:
    """Return the fitting that a part had at the end of a day, if any."""
    return next(iter(_as_of(Fitting.objects.filter(part=part), on, known_by)), None)


def around(
    item: Item, on: date, known_by: datetime | None = None
) -> tuple[Item | None, list[Fitting]]:
    """Return the set that an item is or was fitted to on a day, and all that was fitted to it.

    No set and nothing where a part lay by itself at the end of that day.
    """
    if item.type.kind == Kind.SET:
        return item, fittings_of(item, on, known_by)
    own = set_of(item, on, known_by)
    return (own.set, fittings_of(own.set, on, known_by)) if own else (None, [])


def _as_of(rows: Any, on: date, known_by: datetime | None) -> list[Fitting]:
    asked = rows.on(on) if known_by is None else rows.as_known(on, known_by)
    order = list(Place)
    found: list[Fitting] = list(asked.select_related(*_LOADED))
    return sorted(found, key=lambda fitting: order.index(Place(fitting.place)))


def assembled(set_item: Item, on: date, known_by: datetime | None = None) -> Assembled:
    """Return a set with its parts as of the end of a day, as known at a moment or now."""
    fittings = fittings_of(set_item, on, known_by)
    return assembled_all({set_item: fittings}, known_by)[0]


def assembled_all(
    sets: Mapping[Item, Iterable[Fitting]], known_by: datetime | None = None
) -> list[Assembled]:
    """Return many sets with their parts, in a number of queries that doesn't grow.

    The items and their types must be loaded. known_by: as items and types were known.
    """
    items = [fitting.part for fittings in sets.values() for fitting in fittings]
    type_ids = {item.type_id for item in (*items, *sets)}
    stated = types_stated(type_ids, known_by)
    known = {item.pk: item for item in (items if known_by is None else as_known(items, known_by))}
    return [
        _assembled(item, {Place(f.place): f for f in fittings}, known, stated)
        for item, fittings in sets.items()
    ]


def troubled(sets: Mapping[Item, Sequence[Fitting]]) -> list[Assembled]:
    """Return those of many sets that lack a part or in which something is refused, now.

    Sets of the same types with the same facts get the same verdict, so of thousands of
    sets only one of each sort is judged. The items and their types must be loaded.
    """
    sorts: dict[tuple[object, ...], list[Item]] = {}
    for item, fittings in sets.items():
        parts = sorted((f.place, *_judged_by(f.part)) for f in fittings)
        sorts.setdefault((item.type_id, *parts), []).append(item)
    firsts = assembled_all({alike[0]: sets[alike[0]] for alike in sorts.values()})
    bad = [
        item
        for first, alike in zip(firsts, sorts.values(), strict=True)
        if first.missing or first.refused
        for item in alike
    ]
    return assembled_all({item: sets[item] for item in bad})


def _judged_by(part: Item) -> tuple[str, ...]:
    """Return everything of an item that `plain_part` takes, but for its tag."""
    numbers = (part.working_pressure_bar, part.water_capacity_l, part.tare_kg)
    return (str(part.type_id), part.maker, part.connection, *map(str, numbers))


def _assembled(
    set_item: Item,
    fitted: dict[Place, Fitting],
    known: Mapping[int, Item],
    stated: Mapping[int, Mapping[str, Any]],
) -> Assembled:
    plain = {
        place: plain_part(known[f.part_id], f.part.type_id, stated.get(f.part.type_id, {}))
        for place, f in fitted.items()
        if f.part_id in known
    }
    approved = frozenset(stated.get(set_item.type_id, {}).get("approved", ()))
    return Assembled(
        set=set_item,
        fitted=fitted,
        plain=plain,
        findings=findings(plain, approved),
        mass=mass_of(plain),
        missing=missing(fitted, joins=_joins(plain)),
    )


def plain_part(item: Item, type_id: int, stated: Mapping[str, Any]) -> Part:
    """Return an item as the checks take it; what it says itself goes before its type's facts.

    stated: what is stated of its type, in the form of `ItemType.facts`.
    """
    kind = item.type.kind
    inlet, outlet = stated.get("inlet", ""), stated.get("outlet", "")
    if kind in (Kind.REDUCER, Kind.MASK):
        inlet = item.connection or inlet
    elif kind in (Kind.CYLINDER, Kind.DEMAND_VALVE):
        outlet = item.connection or outlet
    elif kind == Kind.CONNECTOR:
        inlet, outlet = inlet or item.connection, outlet or item.connection
    return Part(
        tag=item.tag,
        kind=kind,
        maker=item.maker,
        type_id=type_id,
        type_name=str(item.type),
        inlet=inlet,
        outlet=outlet,
        pressure_bar=item.working_pressure_bar or _number(stated.get("highest_bar")),
        water_capacity_l=item.water_capacity_l,
        mass_kg=item.tare_kg or _number(stated.get("mass_kg")),
        breathing=stated.get("breathing", ""),
        joins=(stated.get("joins") or 1) if kind == Kind.CONNECTOR else 0,
    )


def plan_of(set_item: Item, part: Item) -> Plan:
    """Return what fitting a part to a set now would do: where it goes, what comes out.

    Judged is what the part itself has to do with, so that a set with another fault can
    still be put right. Raises NoPlace where a thing of its kind is no part of a set.
    """
    fittings = set_item.fittings.open().select_related(*_LOADED)
    now = assembled_all({set_item: list(fittings)})[0]
    place = place_for(part.type.kind, now.fitted, joins=_joins(now.plain))
    stated = types_stated({part.type_id, set_item.type_id}, None)
    would = {**now.plain, place: plain_part(part, part.type_id, stated[part.type_id])}
    found = touching(findings(would, frozenset(stated[set_item.type_id]["approved"])), place)
    mass = mass_of(would)
    if mass.too_heavy:
        found = (mass.finding(), *found)
    occupant = now.fitted.get(place)
    guided = part.type.kind == Kind.CYLINDER
    todo = steps(removing=occupant is not None, fitting=True) if guided else ()
    return Plan(place, occupant, found, todo)


def _joins(plain: Mapping[Place, Part]) -> int:
    connector = plain.get(Place.CONNECTOR)
    return connector.joins if connector else 0


def _number(text: str | None) -> Decimal | None:
    return Decimal(text) if text else None
