"""How time counts, as a manager is asked it: each form of a clock and back, and what can't be.

The forms are those of servicing/rules/pure/clocks.py (DEVELOPERS.md, "How a law counts").
"""

from typing import Any

import pytest

from servicing.desk.rules.forms.clock import ClockFields
from servicing.rules.pure.clocks import clock_faults

CLAUSE = "section 14(5)"
EVERY = {"how": "every", "number": 5, "unit": "Y", "counted_from": "made"}

ROWS: list[tuple[dict[str, Any], dict[str, Any]]] = [
    ({}, {}),
    ({"by_month": "on"}, {"due": {"by": "month"}}),
    ({"late": "due-date"}, {"late": {"counts_from": "due-date"}}),
    (
        {"late": "within", "late_months": "2", "early_months": "2"},
        {"late": {"counts_from": "due-date", "within": "P2M"}, "early": {"within": "P2M"}},
    ),
    (
        {"by_month": "on", "late": "due-date", "out_counts": "on"},
        {
            "due": {"by": "month"},
            "late": {"counts_from": "due-date", "out_of_service": "test"},
        },
    ),
    ({"start": "end-of-month-before"}, {"start": {"at": "end-of-month-before"}}),
    (
        {"by_month": "on", "start": "counted"},
        {
            "due": {"by": "month"},
            "start": {"at": "end-of-month-before", "first_day": "counts"},
        },
    ),
    ({"by_month": "on", "hours": "50"}, {"due": {"by": "month"}, "hours": {"limit": 50}}),
    (
        {"other_number": "10", "other_unit": "Y", "other_from": "made", "governs": "later"},
        {"other": {"every": "P10Y", "from": "made", "governs": "later"}},
    ),
]


def asked(typed: dict[str, Any], **row: Any) -> ClockFields:
    form = ClockFields({**typed, "clause": CLAUSE} if typed else {})
    assert form.is_valid(), form.errors
    form.check_clock({**EVERY, **row, **form.cleaned_data})
    return form


@pytest.mark.parametrize(("typed", "clock"), ROWS)
def test_each_form_of_a_clock_is_asked_and_shown_again(
    typed: dict[str, Any], clock: dict[str, Any]
) -> None:
    form = asked(typed)
    assert not form.errors
    clock = {name: {**keys, "clause": CLAUSE} for name, keys in clock.items()}
    assert form.clock() == clock
    row = {"every": "P5Y", "from": "made", **({"clock": clock} if clock else {})}
    assert clock_faults(row) == []
    again = ClockFields(ClockFields.initial_clock(row))
    assert again.is_valid()
    assert again.clock() == clock
    assert ClockFields(initial=ClockFields.initial_clock(row)).says_clock == bool(clock)


@pytest.mark.parametrize(
    ("typed", "row", "field"),
    [
        ({"late": "within"}, {}, "late_months"),
        ({"late_months": "2"}, {}, "late"),
        ({"late": "due-date", "late_months": "2"}, {}, "late"),
        ({"out_counts": "on"}, {}, "late"),
        ({"other_number": "10", "other_unit": "Y", "governs": "later"}, {}, "other_from"),
        ({"by_month": "on"}, {"how": "calendar"}, "by_month"),
        ({"by_month": "on"}, {"how": "after"}, "by_month"),
        ({"late": "due-date"}, {"how": "life"}, "late"),
        ({"late": "due-date"}, {"counted_from": "part-made"}, "late"),
        ({"early_months": "1"}, {"counted_from": "part-made"}, "early_months"),
        ({"start": "counted", "late": "due-date"}, {}, "start"),
        ({**ROWS[-1][0], "start": "counted"}, {}, "start"),
        ({**ROWS[-1][0]}, {"counted_from": "at-once"}, "other_number"),
        ({"early_months": "31"}, {}, "early_months"),
        ({"start": "counted"}, {"unit": "D"}, "start"),
    ],
)
def test_what_no_row_may_say_is_refused_at_its_field(
    typed: dict[str, Any], row: dict[str, Any], field: str
) -> None:
    form = asked(typed, **row)
    assert list(form.errors) == [field]
    assert str(form.errors[field][0]).startswith(str(form.fields[field].label))


def test_a_form_of_a_clock_without_its_clause_is_refused() -> None:
    form = ClockFields({"late": "due-date"})
    assert form.is_valid()
    form.check_clock({**EVERY, **form.cleaned_data})
    assert list(form.errors) == ["clause"]


def test_a_life_may_end_with_its_month() -> None:
    assert not asked({"by_month": "on"}, how="life").errors
