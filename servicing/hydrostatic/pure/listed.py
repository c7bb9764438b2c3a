"""What a test house is told of each cylinder, on paper and in a file."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ListedCylinder:
    """A cylinder as the test house is told of it: texts, units as in the names."""

    tag: str
    serial: str
    maker: str
    specification: str
    construction: str
    made_on: str
    water_capacity_l: str
    working_pressure_bar: str
    asked_pressure_bar: str
    ree_ml: str
    marks: str
    last_test_on: str
    owner: str
