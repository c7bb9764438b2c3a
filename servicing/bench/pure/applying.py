"""When a procedure or a step applies: to which items, at which sites.

What is not known of an item rules nothing out: the step is then shown, and whoever stands
at the bench says whether it applies.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry.items.pure import Breathing, Construction, Kind
from registry.sets.pure.places import Place

Facts = Mapping[str, frozenset[str]]
"""What is known of an item by name, see `WORDS`; what is not known is absent, and what is
known to be nothing (no table adopted, nothing fitted) is empty."""

NOTHING = ""
"""In a list: holds for what is known to be nothing, such as a frame with nothing fitted."""
WORDS: dict[str, tuple[str, ...] | None] = {
    "kind": tuple(Kind),
    "construction": tuple(Construction),
    "breathing": tuple(Breathing),
    "fitted": (NOTHING, *Place),
    "tables": None,
}
"""The facts that may be asked for, with their words. fitted: the places that are filled in the
set that the item is or is fitted to. tables: those that its site has adopted; the loader
knows them."""

Tests = tuple[tuple[str, frozenset[str]], ...]


@dataclass(frozen=True, slots=True)
class Applies:
    """Tests on what is known of an item; empty ones always hold.

    when: all must hold. unless: it does not apply where all of these hold.
    """

    when: Tests = ()
    unless: Tests = ()

    def to(self, facts: Facts) -> bool | None:
        """Say whether it applies to an item; None where what is known does not decide it."""
        wanted = _all(self.when, facts)
        barred = _all(self.unless, facts) if self.unless else False
        if wanted is False or barred is True:
            return False
        return None if wanted is None or barred is None else True

    @property
    def asks(self) -> tuple[str, ...]:
        """The facts that decide it, each once."""
        return tuple(dict.fromkeys(name for name, _ in (*self.when, *self.unless)))

    def not_known(self, facts: Facts) -> tuple[str, ...]:
        """Return the facts that would decide it and are not known."""
        return tuple(name for name in self.asks if name not in facts)


def applies_of(row: Mapping[str, Any]) -> Applies:
    """Return when a sound row applies."""
    return Applies(_tests(row.get("when", {})), _tests(row.get("unless", {})))


def applies_faults(
    row: Mapping[str, Any], kinds: Collection[str], tables: Collection[str] | None
) -> Iterator[tuple[str, object, str]]:
    """Yield what is wrong with the keys when and unless of a row, as (key, value, remedy).

    kinds: of the procedure. tables: of rules, by name; None where any will do.
    """
    for key in ("when", "unless"):
        if key not in row:
            continue
        tests = row[key]
        if not isinstance(tests, Mapping) or not tests:
            yield key, tests, 'must be tests in braces, such as { kind = ["mask"] }'
            continue
        for name, listed in tests.items():
            if name not in WORDS:
                yield key, name, f"is nothing that can be asked; write one of {', '.join(WORDS)}"
                continue
            words = {"kind": kinds, "tables": tables}.get(name, WORDS[name])
            yield from ((key, listed, say) for say in _list_faults(name, listed, words))


def _list_faults(name: str, listed: object, words: Collection[str] | None) -> Iterator[str]:
    if not isinstance(listed, list) or not listed or not all(isinstance(w, str) for w in listed):
        yield f"must list words for {name} in brackets"
        return
    strange = [word for word in listed if words is not None and word not in words]
    if strange:
        known = ", ".join(word or '""' for word in sorted(words or ()))
        yield f"{strange[0]} is no word for {name}; write some of {known}"


def _tests(tests: Mapping[str, Any]) -> Tests:
    return tuple((name, frozenset(listed)) for name, listed in sorted(tests.items()))


def _all(tests: Tests, facts: Facts) -> bool | None:
    answers = [_holds(listed, facts.get(name)) for name, listed in tests]
    if False in answers:
        return False
    return None if None in answers else True


def _holds(listed: frozenset[str], fact: frozenset[str] | None) -> bool | None:
    if fact is None:
        return None
    return not listed.isdisjoint(fact) if fact else NOTHING in listed
