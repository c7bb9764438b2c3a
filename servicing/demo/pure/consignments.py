"""What of the invented fleet is at the test house, or was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from servicing.demo.pure.days import ago
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.house import HouseResult
from servicing.hydrostatic.pure.verdict import Word
from servicing.ledger.pure.shoulder import Marked, Shoulder
from servicing.rules.pure.durations import add_months, month_end


@dataclass(frozen=True, slots=True)
class Trip:
    """A consignment and what the house said. back_on: None while it is away."""

    house: str
    site: str
    left_on: date
    back_on: date | None
    tags: tuple[str, ...]
    results: tuple[HouseResult, ...]


def trips(rows: Sequence[Mapping[str, Any]], on: date) -> tuple[Trip, ...]:
    """Return the consignments of fixtures/demo/consignments.toml as they stand on a day."""
    return tuple(
        Trip(
            house=row["house"],
            site=row["from"],
            left_on=ago(on, row["left"]),
            back_on=ago(on, row["back"]) if "back" in row else None,
            tags=tuple(row["tags"]),
            results=tuple(_result(result, on) for result in row.get("result", ())),
        )
        for row in rows
    )


def _result(row: Mapping[str, Any], on: date) -> HouseResult:
    reached, total, permanent = (
        row.get(name) for name in ("reached_bar", "total_ml", "permanent_ml")
    )
    return HouseResult(
        tag=row["tag"],
        tested_on=ago(on, row["tested"]),
        method=row["method"],
        word=Word(row["word"]),
        by=row["by"],
        reached=None if reached is None else Pressure.of(reached, "bar"),
        held_s=row.get("held_s"),
        total_ml=None if total is None else Decimal(total),
        permanent_ml=None if permanent is None else Decimal(permanent),
        reason=row.get("reason", ""),
        mark=row.get("mark", ""),
        shoulder=_marked(row, ago(on, row["tested"])),
    )


def _marked(row: Mapping[str, Any], tested_on: date) -> Shoulder:
    months = row.get("stamped_next")
    body = row.get("stamped_body", "")
    if months is None:
        return Shoulder(body=body)
    return Shoulder(
        Marked(month_end(add_months(tested_on, months)), to_month=True).words, body=body
    )
