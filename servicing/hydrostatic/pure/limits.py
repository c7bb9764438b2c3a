"""The table of test pressures and acceptance limits: `fixtures/hydrostatic/limits.toml`."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure

SEEN = ("text", "secondary", "memory", "practice")
METHODS = ("jacket", "direct", "proof")
AS_PERMIT = "as-permit"
_NEEDED = ("id", "specification", "source", "edition", "seen")
_PRESSURE_KEYS = {
    *_NEEDED,
    "times",
    "below_psi",
    "times_below",
    "floor_psi",
    "fixed_psi",
    "as",
    "not_below",
    "note",
}
_ACCEPTANCE_KEYS = {
    *_NEEDED,
    "methods",
    "permanent_percent",
    "over",
    "given_up_to_percent",
    "elastic",
    "life_years",
    "fills",
    "note",
}


@dataclass(frozen=True, slots=True)
class PressureRule:
    """How the lowest test pressure of some specifications is found.

    times: of the working pressure; below `below_psi` it is `times_below`. floor_psi,
    fixed_psi: in psig. given: permit, marked or no-test where no sum gives it.
    """

    id: str
    specification: frozenset[str]
    times: Fraction | None
    below_psi: Fraction | None
    times_below: Fraction | None
    floor_psi: Fraction | None
    fixed_psi: Fraction | None
    given: str
    not_below: Fraction | None
    source: str
    edition: str
    seen: str


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What a retest is judged by.

    permanent_percent: of total, itself still good; None where the permit says it.
    given_up_to_percent: how far a limit given by hand may be wider; None: only stricter.
    elastic: marked (an REE must be marked), if-marked, plus (only with a plus mark) or nothing.
    life_years, fills: whichever comes first. over: the verdict over a limit.
    """

    id: str
    specification: frozenset[str]
    methods: tuple[str, ...]
    permanent_percent: Fraction | None
    given_up_to_percent: Fraction | None
    elastic: str
    life_years: int | None
    fills: int | None
    over: str
    source: str
    edition: str
    seen: str
    note: str

    def limit_percent(self, given: Fraction | None) -> Fraction:
        """Return the limit to judge by, given the permit's or the design standard's.

        Raises HydroProblem where it has to be given and is not, or is wider than allowed.
        """
        if given is not None and not 0 < given <= 100:
            raise HydroProblem("The limit is a part of 100 %; write it as such, for instance 5.")
        if self.permanent_percent is None:
            if given is None:
                raise HydroProblem(
                    f"The limit is the permit's ({self.source}): give it as the permit says."
                )
            return given
        widest = self.given_up_to_percent or self.permanent_percent
        if given is not None and given > widest:
            raise HydroProblem(
                f"{self.source} allows no limit over {widest} %; give the permit's limit only for "
                "a cylinder under a permit."
            )
        return self.permanent_percent if given is None else given


@dataclass(frozen=True, slots=True)
class Limits:
    """The whole table."""

    caution: str
    pressures: tuple[PressureRule, ...]
    acceptances: tuple[Acceptance, ...]

    def pressure_rule(self, specification: str) -> PressureRule:
        """Return the row for a specification; raises HydroProblem where there is none."""
        for row in self.pressures:
            if specification in row.specification:
                return row
        raise HydroProblem(_unknown(specification))

    def acceptance(self, specification: str) -> Acceptance:
        """Return the row for a specification; raises HydroProblem where there is none."""
        for row in self.acceptances:
            if specification in row.specification:
                return row
        raise HydroProblem(_unknown(specification))


@dataclass(frozen=True, slots=True)
class TestPressure:
    """The lowest pressure a test has to reach, exact, and the whole bar or psi to set.

    minimum is never rounded; asked is rounded up, so that it is never below.
    """

    __test__ = False  # pytest would take the name for a test

    minimum: Pressure
    rule: PressureRule

    @property
    def asked(self) -> Pressure:
        """The next whole bar or psi."""
        return self.minimum.rounded_up()


def least_test_pressure(
    limits: Limits, specification: str, working: Pressure, given: Pressure | None = None
) -> TestPressure:
    """Return the lowest test pressure from the working (service) pressure.

    given: what is marked, or what the permit says; it counts where it is higher than the sum.
    Raises HydroProblem where it has to be given, or no test is done at all.
    """
    rule = limits.pressure_rule(specification)
    if rule.given == "no-test":
        raise HydroProblem(f"{specification} is not retested ({rule.source}).")
    least = _sum(rule, working)
    if rule.given and given is None:
        whose = "the permit" if rule.given == "permit" else "the cylinder's mark"
        raise HydroProblem(f"The test pressure is that of {whose} ({rule.source}): give it.")
    if rule.given and given is not None and least is not None and given < least:
        raise HydroProblem(f"{given} is below {least}, the least by {rule.source}.")
    found = [pressure for pressure in (least, given) if pressure is not None]
    return TestPressure(max(found), rule)


def _sum(rule: PressureRule, working: Pressure) -> Pressure | None:
    """Return what a rule makes of a working pressure; None where it is only given."""
    if rule.fixed_psi is not None:
        return Pressure.of(rule.fixed_psi, "psi")
    times = rule.times or rule.not_below
    if rule.below_psi is not None and working.psi < rule.below_psi:
        times = rule.times_below
    if times is None:
        return None
    least = working.times(times)
    floor = None if rule.floor_psi is None else Pressure.of(rule.floor_psi, "psi")
    return least if floor is None else max(least, floor)


def read_limits(text: str) -> Limits:
    """Return the table. Raises HydroProblem naming the row and what is wrong in it."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise HydroProblem(f"The table of limits is not TOML: {error}.") from error
    pressures = tuple(_pressure(row) for row in raw.get("test_pressure", ()))
    acceptances = tuple(_acceptance(row) for row in raw.get("acceptance", ()))
    for rows in (pressures, acceptances):
        seen: set[str] = set()
        for row in rows:
            if twice := seen & row.specification:
                raise HydroProblem(f"Row {row.id}: {min(twice)} stands in another row already.")
            seen |= row.specification
    return Limits(str(raw.get("caution", "")), pressures, acceptances)


def _pressure(row: Mapping[str, Any]) -> PressureRule:
    _check(row, _PRESSURE_KEYS)
    return PressureRule(
        id=row["id"],
        specification=frozenset(row["specification"]),
        times=_fraction(row, "times"),
        below_psi=_fraction(row, "below_psi"),
        times_below=_fraction(row, "times_below"),
        floor_psi=_fraction(row, "floor_psi"),
        fixed_psi=_fraction(row, "fixed_psi"),
        given=row.get("as", ""),
        not_below=_fraction(row, "not_below"),
        source=row["source"],
        edition=row["edition"],
        seen=row["seen"],
    )


def _acceptance(row: Mapping[str, Any]) -> Acceptance:
    _check(row, _ACCEPTANCE_KEYS)
    if not set(row["methods"]) <= set(METHODS):
        raise HydroProblem(f"Row {row['id']}: methods are {', '.join(METHODS)}.")
    if row["over"] not in ("condemn", "reject"):
        raise HydroProblem(f"Row {row['id']}: over is condemn or reject.")
    by_permit = row["permanent_percent"] == AS_PERMIT
    return Acceptance(
        id=row["id"],
        specification=frozenset(row["specification"]),
        methods=tuple(row["methods"]),
        permanent_percent=None if by_permit else _fraction(row, "permanent_percent"),
        given_up_to_percent=_fraction(row, "given_up_to_percent"),
        elastic=row.get("elastic", ""),
        life_years=row.get("life_years"),
        fills=row.get("fills"),
        over=row["over"],
        source=row["source"],
        edition=row["edition"],
        seen=row["seen"],
        note=row.get("note", ""),
    )


def _check(row: Mapping[str, Any], known: set[str]) -> None:
    name = row.get("id", "without an id")
    if missing := [key for key in _NEEDED if not row.get(key)]:
        raise HydroProblem(f"Row {name}: {', '.join(missing)} is missing.")
    if unknown := row.keys() - known:
        raise HydroProblem(f"Row {name}: {min(unknown)} is no key of this table.")
    if row["seen"] not in SEEN:
        raise HydroProblem(f"Row {name}: seen is one of {', '.join(SEEN)}.")


def _fraction(row: Mapping[str, Any], key: str) -> Fraction | None:
    if key not in row:
        return None
    try:
        return Fraction(row[key])
    except (ValueError, TypeError) as error:
        raise HydroProblem(f"Row {row['id']}: {key} is not a number in quotation marks.") from error


def _unknown(specification: str) -> str:
    named = specification or "A cylinder without a specification"
    return (
        f"{named} is not in the table of limits. Correct the specification, written as stamped "
        "with hyphens for spaces, or add a row to fixtures/hydrostatic/limits.toml."
    )
