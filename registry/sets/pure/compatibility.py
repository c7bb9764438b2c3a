"""What fits what in a set: threads, pressure classes, tees, mask connections, approvals.

Every answer names its source and how that was seen (flags of the facts file: text,
secondary, memory, practice). What is not stated is never taken for fine.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Set
from dataclasses import dataclass
from decimal import Decimal

from registry.items.pure import Breathing
from registry.sets.pure.parts import Finding, Part, Word, bar
from registry.sets.pure.places import CYLINDERS, Place

Parts = Mapping[Place, Part]

CLASSES_BAR = {"A1": Decimal(232), "A2": Decimal(300), "A3": Decimal(400)}
"""The highest pressure of each outlet class, in bar (EN 144-2:2018, 4.2) [text]."""

_CLASS_WORDS = re.compile(r"(?:EN-144-2-(A[123]))|(?:G5/8-(\d{3}))")
_CLASS_OF_PRESSURE = {"200": "A1", "232": "A1", "300": "A2", "400": "A3"}


@dataclass(frozen=True, slots=True)
class _Source:
    text: str
    seen: str


EN_144_2 = _Source("EN 144-2:2018, 4.2", "text")
SEAL = _Source("EN 144-2 / ISO 12209", "memory")
EN_148 = _Source("EN 148-1 and EN 148-3", "secondary")
PRACTICE = _Source("", "practice")
LISTED = _Source("the list on the set's type", "register")


def outlet_class(connection: str) -> str:
    """Return the EN 144-2 outlet class of a connection word: A1, A2, A3, or "" for no such.

    A1 up to 232 bar, A2 over 232 to 300, A3 over 300 to 400 (EN 144-2:2018, 4.2) [text].
    Words: EN-144-2-A2, or G5/8-300 with the nominal pressure in bar.
    """
    found = _CLASS_WORDS.fullmatch(connection.upper())
    if found is None:
        return ""
    return found[1] or _CLASS_OF_PRESSURE.get(found[2], "")


def class_for(pressure_bar: Decimal) -> str:
    """Return the outlet class that a working pressure (bar, gauge) needs; "" over 400 bar.

    EN 144-2:2018, 4.2 [text].
    """
    return next((name for name, top in CLASSES_BAR.items() if pressure_bar <= top), "")


def _class_needed(pressure_bar: Decimal) -> str:
    needed = class_for(pressure_bar)
    return f"Class {needed} is needed." if needed else "No class reaches so far."


def findings(parts: Parts, approved: Set[int]) -> tuple[Finding, ...]:
    """Return everything found about the parts fitted together, refusals first.

    approved: ids of the part types that the set's type lists; empty means that nothing
    is stated. Only what is fitted is judged: an empty place is for `places.missing`.
    """
    checks: tuple[Callable[[Parts], Iterator[Finding]], ...] = (
        _air_path,
        _valve_class,
        _pressures,
        _tee,
        _mask,
    )
    found = [finding for check in checks for finding in check(parts)]
    found += _approvals(parts, approved)
    order = list(Word)
    return tuple(sorted(found, key=lambda finding: order.index(finding.word)))


def touching(found: tuple[Finding, ...], place: Place) -> tuple[Finding, ...]:
    """Return the findings that a place has to do with."""
    return tuple(finding for finding in found if place in finding.places)


def _finding(word: Word, source: _Source, reason: str, *places: Place) -> Finding:
    return Finding(word, frozenset(places), reason, source.text, source.seen)


def _air_path(parts: Parts) -> Iterator[Finding]:
    """Judge each joint from the cylinder to the reducer, over a connector where one is."""
    first_joint = Place.CONNECTOR if Place.CONNECTOR in parts else Place.REDUCER
    for place in CYLINDERS:
        if place in parts and first_joint in parts:
            yield _joint(parts, place, first_joint)
    if first_joint is Place.CONNECTOR and Place.REDUCER in parts:
        yield _joint(parts, Place.CONNECTOR, Place.REDUCER)


def _joint(parts: Parts, giving: Place, taking: Place) -> Finding:
    one, other = parts[giving], parts[taking]
    between = f"{one.name} gives by {one.outlet}, {other.name} takes {other.inlet}"
    places = (giving, taking)
    if not (one.outlet and other.inlet):
        who = one.name if not one.outlet else other.name
        why = f"The connection of {who} is not stated."
        return _finding(Word.NOT_STATED, PRACTICE, why, *places)
    if one.outlet.upper() == other.inlet.upper():
        return _finding(Word.FITS, PRACTICE, f"{between}: the same.", *places)
    valve, connector = outlet_class(one.outlet), outlet_class(other.inlet)
    if not (valve and connector):
        why = f"{between}: another thread. Never force one into the other."
        return _finding(Word.REFUSED, PRACTICE, why, *places)
    if connector < valve:
        why = (
            f"{between}: a class {connector} connector must not seal on a class {valve} valve. "
            "Fit a cylinder of the lower class or a reducer of the higher."
        )
        return _finding(Word.REFUSED, SEAL, why, *places)
    why = f"{between}: a class {connector} connector seals on a class {valve} valve."
    return _finding(Word.FITS, PRACTICE, why, *places)


def _valve_class(parts: Parts) -> Iterator[Finding]:
    """Refuse a cylinder whose valve outlet is of a lower class than its working pressure."""
    for place in CYLINDERS:
        part = parts.get(place)
        valve = outlet_class(part.outlet) if part else ""
        if part is None or not valve or part.pressure_bar is None:
            continue
        if part.pressure_bar > CLASSES_BAR[valve]:
            why = (
                f"{part.name} works at {bar(part.pressure_bar)}, its valve outlet {part.outlet} "
                f"is class {valve}, up to {CLASSES_BAR[valve]} bar. "
                f"{_class_needed(part.pressure_bar)} Check both on the item."
            )
            yield _finding(Word.REFUSED, EN_144_2, why, place)


def _pressures(parts: Parts) -> Iterator[Finding]:
    """Hold each cylinder against everything its pressure reaches."""
    for place in CYLINDERS:
        for reached in (Place.CONNECTOR, Place.REDUCER):
            if place in parts and reached in parts:
                yield _pressure(parts, place, reached)


def _pressure(parts: Parts, giving: Place, taking: Place) -> Finding:
    cylinder, other = parts[giving], parts[taking]
    places = (giving, taking)
    if cylinder.pressure_bar is None or other.pressure_bar is None:
        who = cylinder.name if cylinder.pressure_bar is None else other.name
        why = f"The working pressure of {who} is not stated."
        return _finding(Word.NOT_STATED, EN_144_2, why, *places)
    said = f"{cylinder.name} holds {bar(cylinder.pressure_bar)}, {other.name} is made for "
    if cylinder.pressure_bar > other.pressure_bar:
        why = f"{said}{bar(other.pressure_bar)} only. Fit a cylinder of a lower pressure."
        return _finding(Word.REFUSED, EN_144_2, why, *places)
    return _finding(Word.FITS, EN_144_2, f"{said}{bar(other.pressure_bar)}.", *places)


def _tee(parts: Parts) -> Iterator[Finding]:
    """Two cylinders need a tee between them and the same working pressure."""
    first, second = parts.get(Place.CYLINDER), parts.get(Place.CYLINDER_2)
    if second is None:
        return
    connector = parts.get(Place.CONNECTOR)
    if connector is None or connector.joins < len(CYLINDERS):
        why = f"{second.name} needs a tee that joins two cylinders. Fit the tee first."
        yield _finding(Word.REFUSED, PRACTICE, why, Place.CYLINDER_2, Place.CONNECTOR)
    if first is None or first.pressure_bar is None or second.pressure_bar is None:
        return  # a pressure that is not stated was said already
    both = (*CYLINDERS, Place.CONNECTOR)
    if first.pressure_bar != second.pressure_bar:
        why = (
            f"{first.name} works at {bar(first.pressure_bar)}, {second.name} at "
            f"{bar(second.pressure_bar)}: two on one tee must be equal, or one fills the other."
        )
        yield _finding(Word.REFUSED, PRACTICE, why, *both)
    else:
        yield _finding(Word.FITS, PRACTICE, "Both cylinders work at the same pressure.", *both)


def _mask(parts: Parts) -> Iterator[Finding]:
    """Judge the joint between demand valve and mask (EN 148), and how each breathes."""
    valve, mask = parts.get(Place.DEMAND_VALVE), parts.get(Place.MASK)
    yield from _thread_for_breathing(Place.DEMAND_VALVE, valve)
    yield from _thread_for_breathing(Place.MASK, mask)
    if valve is None or mask is None:
        return
    places = (Place.DEMAND_VALVE, Place.MASK)
    if valve.breathing and mask.breathing and valve.breathing != mask.breathing:
        why = (
            f"{valve.name} works with {_plain(valve.breathing)}, {mask.name} is made for "
            f"{_plain(mask.breathing)}."
        )
        yield _finding(Word.REFUSED, EN_148, why, *places)
    yield _mask_joint(valve, mask)


def _mask_joint(valve: Part, mask: Part) -> Finding:
    places = (Place.DEMAND_VALVE, Place.MASK)
    one, other = valve.outlet.upper(), mask.inlet.upper()
    if not (one and other):
        who = valve.name if not one else mask.name
        why = f"The connection of {who} is not stated."
        return _finding(Word.NOT_STATED, PRACTICE, why, *places)
    between = f"{valve.name} has {valve.outlet}, {mask.name} has {mask.inlet}"
    if one != other:
        return _finding(Word.REFUSED, EN_148, f"{between}: they do not join.", *places)
    if one in _THREADS:
        return _finding(Word.FITS, EN_148, f"{between}: the same thread.", *places)
    if valve.maker == mask.maker:
        why = f"{between}: a plug-in connection of one maker, {valve.maker}, by the maker's word."
        return _finding(Word.FITS, PRACTICE, why, *places)
    why = f"{between}: a plug-in connection holds by its maker's word, and the makers differ."
    return _finding(Word.NOT_STATED, PRACTICE, why, *places)


_THREADS = {
    "EN-148-1": ("Rd 40 x 1/7", Breathing.NEGATIVE),
    "EN-148-3": ("M45 x 3", Breathing.POSITIVE),
}
"""Mask threads and the way of breathing each is for (EN 148-1, EN 148-3) [secondary, agree]."""


def _thread_for_breathing(place: Place, part: Part | None) -> Iterator[Finding]:
    """Refuse a thread on a part that works the other way: nothing there holds the air."""
    connection = "" if part is None else part.inlet if place is Place.MASK else part.outlet
    thread = _THREADS.get(connection.upper())
    if part is None or thread is None or not part.breathing or part.breathing == thread[1]:
        return
    why = (
        f"{part.name} works with {_plain(part.breathing)} and has {connection} ({thread[0]}), "
        f"the thread for {_plain(thread[1])} only."
    )
    yield _finding(Word.REFUSED, EN_148, why, place)


def _approvals(parts: Parts, approved: Set[int]) -> Iterator[Finding]:
    """Hold each part's type against the list of the set's type."""
    for place, part in parts.items():
        if not approved:
            why = f"Whether the maker of the set approves {part.type_name} is not stated."
            yield _finding(Word.NOT_STATED, LISTED, why, place)
        elif part.type_id in approved:
            why = f"{part.type_name} is an approved part of this type of set."
            yield _finding(Word.FITS, LISTED, why, place)
        else:
            why = (
                f"{part.name} is a {part.type_name}, which is not among the approved parts of "
                "this type of set. If its maker approves it, add it to the type first."
            )
            yield _finding(Word.REFUSED, LISTED, why, place)


def _plain(word: str) -> str:
    return word.replace("-", " ")
