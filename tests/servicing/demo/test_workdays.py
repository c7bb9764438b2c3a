"""The days on which the invented workshop works."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from servicing.demo.pure.days import workday_after, workday_before


@given(st.dates(date(1950, 1, 1), date(2150, 1, 1)))
def test_a_weekend_goes_to_the_friday_before_or_the_monday_after(day: date) -> None:
    over = max(0, day.isoweekday() - 5)  # 1 on a Saturday, 2 on a Sunday
    assert workday_before(day) == day - timedelta(days=over)
    assert workday_after(day) == day + timedelta(days=3 - over if over else 0)
