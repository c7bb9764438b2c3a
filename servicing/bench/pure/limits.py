"""Limits and verdicts: exact, with the limit's own word on whether the edge is good."""

from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from servicing.bench.pure.units import Unit, as_decimal, exact


class LimitProblem(ValueError):
    """A limit that can't stand; the text says what to change."""


class LooserThanBase(LimitProblem):
    """A special limit would let through what the base refuses."""


class NoLimit(LimitProblem):
    """There is nothing to judge by, so nothing is judged."""


@dataclass(frozen=True, slots=True)
class Nominal:
    """A marked value that limits may be a share of.

    value: in the share's unit; None where nobody knows it. whose: the mark it is, such as
    "cylinder C117"; without a value what is missing, in a sentence.
    """

    value: Decimal | None
    whose: str


@dataclass(frozen=True, slots=True)
class Limit:
    """Between which values a reading is good, in one unit.

    low and high: the edges, None where open. low_strict, high_strict: whether the edge
    itself is already bad. source: who says so. seen: how that was checked (text, secondary,
    memory, practice, or maker for a type's own limit). share: of what it is a share, in
    words, such as "90 % of 200 bar, cylinder C117".
    """

    low: Decimal | None
    high: Decimal | None
    unit: Unit
    source: str
    seen: str
    low_strict: bool = False
    high_strict: bool = False
    share: str = ""

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise LimitProblem("A limit needs a lowest or a highest value.")
        if not all(edge.is_finite() for edge in (self.low, self.high) if edge is not None):
            raise LimitProblem("A limit's edge must be a number.")
        if not self.source.strip():
            raise LimitProblem("A limit needs a source; name the document and the clause.")
        if self.low is None or self.high is None:
            return
        if self.low > self.high or (
            self.low == self.high and (self.low_strict or self.high_strict)
        ):
            raise LimitProblem(f"No value lies from {self.low} to {self.high} {self.unit.name}.")

    @property
    def words(self) -> str:
        """The limit in words, such as "50 to 60 bar" or "less than 10 bar", and its share."""
        return f"{self._span}: {self.share}" if self.share else self._span

    @property
    def _span(self) -> str:
        unit = self.unit.name
        low = f"{self.low:f}" if self.low is not None else ""
        high = f"{self.high:f}" if self.high is not None else ""
        below = f"{'less than' if self.high_strict else 'at most'} {high}"
        above = f"{'more than' if self.low_strict else 'at least'} {low}"
        if not low:
            return f"{below} {unit}"
        if not high:
            return f"{above} {unit}"
        if not self.low_strict and not self.high_strict:
            return f"{low} to {high} {unit}"
        return f"{above} and {below} {unit}"


@dataclass(frozen=True, slots=True)
class ReadingVerdict:
    """Whether a reading is good, by which limit, and why not."""

    passed: bool
    limit: Limit
    reason: str


def judge(value: Decimal, unit: Unit, limit: Limit) -> ReadingVerdict:
    """Return the verdict on a reading. Both sides are exact fractions; nothing is rounded.

    Raises LimitProblem where the reading's unit measures something else than the limit's,
    or the reading is not a number.
    """
    if unit.quantity is not limit.unit.quantity:
        raise LimitProblem(f"{unit.name} can't be judged by a limit in {limit.unit.name}.")
    if not value.is_finite():
        raise LimitProblem("Only a number can be judged.")
    at = exact(value, unit)
    low, high = _edges(limit)
    too_low = low is not None and (at <= low if limit.low_strict else at < low)
    too_high = high is not None and (at >= high if limit.high_strict else at > high)
    good = not too_low and not too_high
    said = f"{value:f} {unit.name} is {'within' if good else 'outside'} the limit: {limit.words}"
    return ReadingVerdict(good, limit, f"{said} ({limit.source}).")


def tighten(base: Limit, special: Limit) -> Limit:
    """Return the stricter limit for a type or a site. The base's edges stay where it has none.

    Raises LooserThanBase where the special limit would pass anything that the base fails,
    an edge that becomes good included.
    """
    if base.unit.quantity is not special.unit.quantity:
        raise LimitProblem(f"A limit in {base.unit.name} can't become one in {special.unit.name}.")
    (low, high), (new_low, new_high) = _edges(base), _edges(special)
    if low is not None and new_low is not None:
        _refuse_if(_lets_more(new_low, special.low_strict, low, base.low_strict), base, special)
    if high is not None and new_high is not None:
        _refuse_if(
            _lets_more(-new_high, special.high_strict, -high, base.high_strict), base, special
        )
    kept = replace(special)
    if special.low is None and base.low is not None:
        low_edge = _in(base.low, base, special)
        kept = replace(kept, low=low_edge, low_strict=base.low_strict, share=base.share)
    if special.high is None and base.high is not None:
        high_edge = _in(base.high, base, special)
        kept = replace(kept, high=high_edge, high_strict=base.high_strict, share=base.share)
    return kept


def share_of(limit: Limit, nominal: Nominal, unit: Unit) -> Limit:
    """Return a limit given in % of a nominal value as a limit in that value's unit.

    90 % of 300 bar is 270 bar. Raises NoLimit where the nominal value is not known.
    """
    if nominal.value is None:
        raise NoLimit(f"{nominal.whose} Until then this can't be judged.")
    low = None if limit.low is None else (limit.low * nominal.value / 100).normalize()
    high = None if limit.high is None else (limit.high * nominal.value / 100).normalize()
    shares = " and ".join(f"{edge:f} %" for edge in (limit.low, limit.high) if edge is not None)
    whose = f"{shares} of {nominal.value.normalize():f} {unit.name}, {nominal.whose}"
    return replace(limit, low=low, high=high, unit=unit, share=whose)


def _edges(limit: Limit) -> tuple[Fraction | None, Fraction | None]:
    low = None if limit.low is None else exact(limit.low, limit.unit)
    high = None if limit.high is None else exact(limit.high, limit.unit)
    return low, high


def _lets_more(new: Fraction, new_strict: bool, old: Fraction, old_strict: bool) -> bool:
    return new < old or (new == old and old_strict and not new_strict)


def _refuse_if(looser: bool, base: Limit, special: Limit) -> None:
    if looser:
        raise LooserThanBase(
            f"{special.words} is looser than {base.words} ({base.source}); "
            "a limit of a type or a site can only be stricter."
        )


def _in(edge: Decimal, base: Limit, special: Limit) -> Decimal:
    """Return an edge of the base in the special limit's unit. It must come out exactly."""
    converted = exact(edge, base.unit) / special.unit.factor - special.unit.offset
    moved = _exact_decimal(converted)
    if moved is None:
        raise LimitProblem(f"Write the limit in {base.unit.name}, in which the other edge stands.")
    return moved


def _exact_decimal(value: Fraction) -> Decimal | None:
    """Return a fraction as a decimal where that is exact, else None."""
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return as_decimal(value) if rest == 1 else None
