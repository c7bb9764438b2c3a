"""A list of sites: a tree in any order, with zones and rule tables that exist."""

import pytest

from registry.lists.pure.problems import Problem
from registry.lists.pure.sites import SiteRow, read_sites

HEADER = "code,name,parent,timezone,rule_tables"
ZONES = frozenset({"Europe/Vienna", "Europe/Lisbon", "Pacific/Niue", "UTC"})
TABLES = frozenset({"us-cylinders", "eu-cylinders", "masks"})


def read(*rows: str, known: frozenset[str] = frozenset()) -> tuple[list[SiteRow], list[Problem]]:
    """Read a list of sites."""
    content = "\n".join((HEADER, *rows)).encode()
    return read_sites("sites.csv", content, zones=ZONES, tables=TABLES, known=known)


def only(problems: list[Problem]) -> tuple[int, str, str, str]:
    """Return the only problem."""
    (problem,) = problems
    return problem.line, problem.column, problem.value, problem.remedy


def test_a_tree_is_read_in_any_order() -> None:
    sites, problems = read(
        "CAR,Engine 1,N,Europe/Vienna,",
        "N,Station North,ALL,europe/vienna,eu-cylinders; masks;masks;",
        "ALL,Brigade,,UTC,us-cylinders",
        known=frozenset({"OLD"}),
    )
    assert problems == []
    assert sites == [
        SiteRow(2, "CAR", "Engine 1", "N", "Europe/Vienna", ()),
        SiteRow(3, "N", "Station North", "ALL", "Europe/Vienna", ("eu-cylinders", "masks")),
        SiteRow(4, "ALL", "Brigade", "", "UTC", ("us-cylinders",)),
    ]


def test_a_parent_may_be_in_the_register() -> None:
    sites, problems = read("CAR,Engine 1,OLD,UTC,", known=frozenset({"OLD"}))
    assert problems == []
    assert sites[0].parent == "OLD"


def test_a_site_of_the_register_may_come_again() -> None:
    assert read("OLD,Old name,,UTC,", known=frozenset({"OLD"}))[1] == []


@pytest.mark.parametrize(
    ("row", "column", "value", "remedy"),
    [
        (
            "N,North,SUOTH,UTC,",
            "parent",
            "SUOTH",
            "is not a site of this list or the register; write SOUTH if that is meant",
        ),
        (
            "N,North,,Europe/Wien,",
            "timezone",
            "Europe/Wien",
            "is not a time zone; write Europe/Vienna if that is meant",
        ),
        ("N,North,,,", "timezone", "", "is empty; every row needs its timezone"),
        (
            "N,North,,UTC,masks;us-cylinder",
            "rule_tables",
            "masks;us-cylinder",
            "names us-cylinder, which is not a loaded rule table; "
            "write us-cylinders if that is meant",
        ),
        (",North,,UTC,", "code", "", "is empty; every row needs its code"),
        ("N,,,UTC,", "name", "", "is empty; every row needs its name"),
        (f"{'N' * 41},North,,UTC,", "code", "N" * 41, "has 41 characters; write 40 at most"),
    ],
)
def test_a_row_is_refused_with_the_nearest_word(
    row: str, column: str, value: str, remedy: str
) -> None:
    sites, problems = read("SOUTH,South,,UTC,", row)
    assert [site.code for site in sites] == ["SOUTH"]
    assert only(problems) == (3, column, value, remedy)


def test_a_code_that_comes_twice_names_both_lines() -> None:
    sites, problems = read("N,North,,UTC,", "N,Another,,UTC,")
    assert len(sites) == 1
    assert only(problems) == (3, "code", "N", "stands in line 2 already; keep one of the two rows")


def test_a_site_above_itself_is_refused_with_the_way_round() -> None:
    sites, problems = read("A,a,B,UTC,", "X,x,A,UTC,", "B,b,C,UTC,", "C,c,A,UTC,", "D,d,,UTC,")
    assert "D" in [site.code for site in sites]
    remedy = "makes a loop: A > B > C > A; give one of them another parent"
    assert only(problems) == (2, "parent", "B", remedy)


def test_a_site_is_not_its_own_parent() -> None:
    _, problems = read("A,a,A,UTC,")
    assert only(problems)[3] == "makes a loop: A > A; give one of them another parent"


def test_two_loops_are_two_problems() -> None:
    _, problems = read("A,a,B,UTC,", "B,b,A,UTC,", "C,c,D,UTC,", "D,d,C,UTC,")
    assert [(problem.line, problem.value) for problem in problems] == [(2, "B"), (4, "D")]
