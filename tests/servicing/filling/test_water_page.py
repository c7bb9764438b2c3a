"""The page of the air says at what temperature its water begins to freeze out."""

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from tests.people import signed_in


@pytest.mark.parametrize(
    ("water", "status", "said"),
    [
        # tests/published/test_air.py holds the formula to its source.
        ("50", 200, "50 mg/m³ leave frost from -46 °C"),
        ("", 422, "write the number in mg/m³"),
        ("0", 422, "0.1 to 4500 mg/m³"),
    ],
)
def test_water_is_said_as_a_frost_point(
    technician: User, water: str, status: int, said: str
) -> None:
    answer = signed_in(technician).get(reverse("air"), {"water": water})
    assert (answer.status_code, said in answer.content.decode()) == (status, True)
