"""Pages of a long list by the key of a row at their edge, so that each costs the same.

The rows keep their order, whatever it is; the primary key settles what it leaves open. Where
what they are ordered by first may be empty, those without it are read by themselves: then an
index on it serves on either engine, for neither need know where the other puts empty ones.
"""

import json
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import F, Model, Q, QuerySet
from django.db.models.expressions import OrderBy

Key = tuple[Any, ...]


class NoSuchKey(ValueError):
    """An address names no key of this list: it was cut off, or is of another order."""


class Ordered:
    """The rows of a query in their order, read from either end or from a key on."""

    def __init__(self, rows: "QuerySet[Any]") -> None:
        self._terms = [*_terms(rows), OrderBy(F("pk"))]
        keys: dict[str, Any] = {
            f"key_{place}": term.expression for place, term in enumerate(self._terms)
        }
        self._rows: QuerySet[Any] = rows.order_by().annotate(**keys)
        fields = [self._rows.query.annotations[name].output_field for name in keys]
        self._read = [field.to_python for field in fields]
        self._empty_first = _empty_first(self._terms[0])
        self._may_be_empty = bool(getattr(fields[0], "null", True))

    def key_of(self, row: Model) -> str:
        """Return a row's key as an address carries it."""
        values = [getattr(row, f"key_{place}") for place in range(len(self._terms))]
        return json.dumps([None if v is None else _text(v) for v in values], ensure_ascii=False)

    def first(self, start: int, most: int) -> list[Any]:
        """Return so many rows after some from the beginning."""
        found: list[Any] = []
        for part in self._parts(backwards=False):
            found += cut(part, start, start + most - len(found))
            if len(found) == most:
                break
            start = 0 if found else max(start - part.order_by().count(), 0)
        return found

    def last(self, most: int) -> list[Any]:
        """Return so many rows at the end, in their order."""
        return self._read_on(self._parts(backwards=True), most)[::-1]

    def after(self, key: str, most: int) -> list[Any]:
        """Return so many rows that follow a key. Raises NoSuchKey."""
        return self._read_on(self._beyond(self._key(key), backwards=False), most)

    def before(self, key: str, most: int) -> list[Any]:
        """Return so many rows that go before a key, in their order. Raises NoSuchKey."""
        return self._read_on(self._beyond(self._key(key), backwards=True), most)[::-1]

    @staticmethod
    def _read_on(parts: "Iterator[QuerySet[Any]]", most: int) -> list[Any]:
        found: list[Any] = []
        for part in parts:
            found += part[: most - len(found)]
            if len(found) == most:
                break
        return found

    def _key(self, text: str) -> Key:
        try:
            said = json.loads(text)
            if len(said) != len(self._terms):
                raise NoSuchKey(text)
            return tuple(
                None if each is None else read(each)
                for read, each in zip(self._read, said, strict=True)
            )
        except (ValueError, TypeError, ValidationError) as problem:
            raise NoSuchKey(text) from problem

    def _parts(self, *, backwards: bool) -> "Iterator[QuerySet[Any]]":
        """Yield the rows in parts: those without what they are ordered by first, and the others."""
        empties = [True, False] if self._empty_first != backwards else [False, True]
        for empty in empties if self._may_be_empty else [None]:
            yield self._part(empty, backwards=backwards)

    def _beyond(self, key: Key, *, backwards: bool) -> "Iterator[QuerySet[Any]]":
        """Yield the rows beyond a key in parts, as `_parts` does."""
        inside = key[0] is None if self._may_be_empty else None
        yield self._part(inside, backwards=backwards).filter(self._past(key, backwards=backwards))
        if inside is not None and inside == (self._empty_first != backwards):
            yield self._part(not inside, backwards=backwards)

    def _part(self, empty: bool | None, *, backwards: bool) -> "QuerySet[Any]":
        first, *others = (_turned(term, backwards=backwards) for term in self._terms)
        if empty is None:
            return self._rows.order_by(first, *others)
        rows = self._rows.filter(key_0__isnull=empty)
        plain = OrderBy(first.expression, descending=first.descending)
        return rows.order_by(*others) if empty else rows.order_by(plain, *others)

    def _past(self, key: Key, *, backwards: bool) -> Q:
        """Return the condition that a row comes after a key; before it, where backwards."""
        found, same = Q(pk__in=[]), Q()
        for place, (term, value) in enumerate(zip(self._terms, key, strict=True)):
            name = f"key_{place}"
            found |= same & _further(name, term, value, backwards=backwards)
            same &= Q(**{f"{name}__isnull": True}) if value is None else Q(**{name: value})
        if key[0] is None:
            return found
        # The same said of the first alone lets an index begin there.
        sign = "gte" if self._terms[0].descending == backwards else "lte"
        return Q(**{f"key_0__{sign}": key[0]}) & found


def cut(rows: "QuerySet[Any]", start: int, stop: int) -> list[Any]:
    """Return the rows of a query between two places; what is reckoned of them is of no others."""
    if not start:
        return list(rows[:stop])
    return list(rows.filter(pk__in=list(rows.values_list("pk", flat=True)[start:stop])))


def _further(name: str, term: OrderBy, value: Any, *, backwards: bool) -> Q:
    empty, empty_last = Q(**{f"{name}__isnull": True}), _empty_first(term) == backwards
    if value is None:
        return Q(pk__in=[]) if empty_last else ~empty
    sign = "gt" if term.descending == backwards else "lt"
    beyond = Q(**{f"{name}__{sign}": value})
    return beyond | empty if empty_last else beyond


def _terms(rows: "QuerySet[Any]") -> Iterator[OrderBy]:
    query = rows.query
    ordering: Sequence[Any] = query.order_by
    if not ordering and query.default_ordering:
        ordering = query.get_meta().ordering or ()
    for each in ordering:
        if isinstance(each, str):
            yield OrderBy(F(each.lstrip("-")), descending=each.startswith("-"))
        else:
            yield each if isinstance(each, OrderBy) else OrderBy(each)


def _turned(term: OrderBy, *, backwards: bool) -> OrderBy:
    """Return a new term of an order; the other way round where backwards."""
    first, last = term.nulls_first, term.nulls_last
    return OrderBy(
        term.expression,
        descending=term.descending != backwards,
        nulls_first=last if backwards else first,
        nulls_last=first if backwards else last,
    )


def _empty_first(term: OrderBy) -> bool:
    """Say whether empty ones come first: as asked for, else as the engine does it."""
    if term.nulls_first or term.nulls_last:
        return bool(term.nulls_first)
    return term.descending == (connection.vendor == "postgresql")


def _text(value: Any) -> str:
    return value.isoformat() if isinstance(value, date) else str(value)
