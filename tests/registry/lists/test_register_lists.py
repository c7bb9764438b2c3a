"""A register: what a good row becomes, and which rows don't fit the register or each other."""

from datetime import date
from decimal import Decimal

import pytest

from registry.items.facts import FACTS, OF_CYLINDERS
from registry.lists.pure.problems import Problem
from registry.lists.pure.questions import Held, questions
from registry.lists.pure.register import REQUIRED, ItemRow, read_register
from tests.registry.lists.making import GOOD, HEADER, changed, read, register_csv

CYLINDER = (
    "00777",
    "cylinder",
    "Northvale",
    "NV 68",
    "C777",
    "2019-05-03",
    "2019-06-01",
    "NORTH",
    "UN-ISO-11119-2",
    "type-3",
    "carbon",
    "plus;star;plus",
    "6,80",
    "300",
    "450",
    "4.100",
    "210.5",
    "15",
    "M18x1.5",
    "",
)
FULL_HEADER = (
    *HEADER,
    "specification",
    "construction",
    "fibre",
    "marks",
    "water_capacity_l",
    "working_pressure_bar",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
    "connection",
    "size",
)


def cylinder(**cells: str) -> bytes:
    """Return a register of one cylinder with some of its cells replaced."""
    row = [cells.get(name, cell) for name, cell in zip(FULL_HEADER, CYLINDER, strict=True)]
    return register_csv([f'"{cell}"' for cell in row], header=FULL_HEADER)


def told(problems: list[Problem]) -> list[tuple[int, str, str]]:
    """Return where each problem is and what stands there."""
    return [(problem.line, problem.column, problem.value) for problem in problems]


def test_a_cylinder_is_read_whole() -> None:
    items, problems = read(cylinder())
    assert problems == []
    assert items == [
        ItemRow(
            line=2,
            tag="00777",
            kind="cylinder",
            maker="Northvale",
            model="NV 68",
            site="NORTH",
            attributes={
                "serial": "C777",
                "made_on": date(2019, 5, 3),
                "made_to_month": False,
                "in_service_on": date(2019, 6, 1),
                "specification": "UN-ISO-11119-2",
                "construction": "type-3",
                "fibre": "carbon",
                "marks": ("plus", "star"),
                "water_capacity_l": Decimal("6.8"),
                "working_pressure_bar": Decimal("300"),
                "test_pressure_bar": Decimal("450"),
                "tare_kg": Decimal("4.1"),
                "ree_ml": Decimal("210.5"),
                "design_life_years": 15,
                "connection": "M18x1.5",
                "size": "",
            },
        )
    ]


def test_only_what_marks_an_item_must_be_known() -> None:
    items, problems = read(register_csv(changed(model="", made_on="", in_service_on="")))
    assert problems == []
    known = items[0].known
    assert (known["model"], known["made_on"], known["in_service_on"]) == ("", None, None)


def test_an_old_cylinder_may_have_no_specification() -> None:
    empty = dict.fromkeys(FACTS.keys() - REQUIRED, "")
    items, problems = read(cylinder(**empty))
    assert problems == []
    known = items[0].known
    assert (known["specification"], known["marks"], known["tare_kg"]) == ("", (), None)


@pytest.mark.parametrize("construction", ["type-2", "type-3", "type-4", ""])
def test_a_wrapped_cylinder_may_be_of_unknown_fibre(construction: str) -> None:
    assert read(cylinder(construction=construction, fibre=""))[1] == []


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("specification", "DOT 3AL", "write it with hyphens, DOT-3AL"),
        ("specification", "dot-3al", "write it with hyphens, DOT-3AL"),
        ("specification", "UN_ISO 9809-1", "write it with hyphens, UN-ISO-9809-1"),
        ("specification", "DOT3HT", "is known as DOT-3HT; write it so"),
        ("specification", "3HT", "does not say by which body; write it as stamped, such as DOT"),
        ("specification", "DOT-3HT1850", "write DOT-3HT alone"),
        ("specification", "DOT-3AA-2015", "write DOT-3AA alone"),
        ("specification", "DOT-SP10915-4500", "write DOT-SP alone"),
        ("specification", "EN-12245:2009", "write EN-12245 alone"),
        ("construction", "type 3", "write type-3 if that is meant"),
        ("construction", "steel", "write one of type-1, type-2, type-3, type-4"),
        ("fibre", "carbn", "write carbon if that is meant"),
        ("marks", "STAR", "write marks as small words"),
        ("marks", "on-vehicle;air-tight-packed", "which is known as airtight-packed"),
        ("water_capacity_l", "0.05", "is not between 0.1 and 150 L"),
        ("water_capacity_l", "151", "is not between 0.1 and 150 L"),
        ("water_capacity_l", "6.8004", "is finer than 3 places"),
        ("working_pressure_bar", "0.9", "is not between 1 and 1000 bar"),
        ("working_pressure_bar", "4500", "is not between 1 and 1000 bar"),
        ("working_pressure_bar", "300 bar", "write the number alone, in bar"),
        ("working_pressure_bar", "451", ""),
        ("test_pressure_bar", "299.99", "is below the working pressure of 300 bar"),
        ("tare_kg", "4100", "is not between 0.1 and 200 kg"),
        ("ree_ml", "0", "is not between 0.1 and 5000 mL"),
        ("design_life_years", "2034", "is not between 1 and 60 years"),
        ("design_life_years", "15.0", "write whole years"),
        ("connection", "x" * 41, "write 40 at most"),
    ],
)
def test_a_cylinder_that_cannot_be_is_refused(column: str, value: str, words: str) -> None:
    items, problems = read(cylinder(**{column: value}))
    assert items == []
    if column == "working_pressure_bar" and not words:
        assert told(problems) == [(2, "test_pressure_bar", "450")]
    else:
        assert told(problems) == [(2, column, value)]
        assert words in problems[0].remedy


def test_a_test_pressure_may_equal_the_working_pressure() -> None:
    assert read(cylinder(test_pressure_bar="300"))[1] == []


def test_a_seamless_metal_cylinder_has_no_fibre() -> None:
    _, problems = read(cylinder(construction="type-1", fibre="glass"))
    assert told(problems) == [(2, "fibre", "glass")]


def test_what_only_cylinders_have_is_refused_elsewhere() -> None:
    items, problems = read(cylinder(kind="mask"))
    assert items == []
    assert {problem.column for problem in problems} == set(OF_CYLINDERS)
    assert all("as this is a mask" in problem.remedy for problem in problems)


def test_any_kind_may_have_marks_a_working_pressure_and_a_design_life() -> None:
    empty = dict.fromkeys(OF_CYLINDERS, "")
    items, problems = read(cylinder(**empty, kind="reducer"))
    assert problems == []
    known = items[0].known
    assert (known["marks"], known["design_life_years"]) == (("plus", "star"), 15)
    assert known["working_pressure_bar"] == Decimal(300)


@pytest.mark.parametrize(
    ("made_on", "in_service_on", "column"),
    [
        ("2019-05", "2019-05-01", ""),  # any day of the month may be later than the make
        ("2019-05", "2019-04-30", "in_service_on"),
        ("2019-05-17", "2019-05-17", ""),
        ("2019-05-17", "2019-05-16", "in_service_on"),
        ("2026-11-25", "", ""),
        ("2026-11-26", "", "made_on"),
        ("2026-11", "", ""),
        ("2026-12", "", "made_on"),
        ("", "2028-11-25", ""),
        ("", "2028-11-26", "in_service_on"),
    ],
)
def test_days_fit_each_other_and_the_day_at_the_site(
    made_on: str, in_service_on: str, column: str
) -> None:
    _, problems = read(register_csv(changed(made_on=made_on, in_service_on=in_service_on)))
    assert [problem.column for problem in problems] == ([column] if column else [])


def test_today_is_the_day_at_the_site() -> None:
    """C19: it is already the 26th on the island."""
    rows = [changed(site="ISLAND", made_on="2026-11-26", in_service_on="")]
    rows.append(changed(tag="2", serial="2", made_on="2026-11-26", in_service_on=""))
    items, problems = read(register_csv(*rows))
    assert [item.site for item in items] == ["ISLAND"]
    assert told(problems) == [(3, "made_on", "2026-11-26")]
    assert problems[0].remedy == "is in the future; at NORTH today is 2026-11-25"


def test_two_years_ahead_of_a_leap_day_is_the_28th() -> None:
    content = register_csv(changed(made_on="", in_service_on="2030-02-28"))
    late = register_csv(changed(made_on="", in_service_on="2030-03-01"))
    sites = {"NORTH": date(2028, 2, 29)}
    assert read_register("a.csv", content, sites=sites, registered={})[1] == []
    assert len(read_register("a.csv", late, sites=sites, registered={})[1]) == 1


def test_the_same_row_again_changes_nothing_and_is_no_problem() -> None:
    row = changed(tag="00900", serial="S900")
    items, problems = read(register_csv(row))
    assert problems == []
    assert [item.tag for item in items] == ["00900"]


@pytest.mark.parametrize(
    ("tag", "maker", "serial", "column", "words"),
    [
        ("00900", "Northvale", "S999", "tag", "serial S900, not Northvale and S999"),
        ("00900", "northvale", "S900", "tag", "registered with maker Northvale"),
        ("900", "Northvale", "S900", "serial", "is registered with the tag 00900"),
        ("900", "NORTHVALE", "S900", "serial", "is registered with the tag 00900"),
    ],
)
def test_a_tag_and_a_plate_stay_together(
    tag: str, maker: str, serial: str, column: str, words: str
) -> None:
    items, problems = read(register_csv(changed(tag=tag, maker=maker, serial=serial)))
    assert items == []
    assert [problem.column for problem in problems] == [column]
    assert words in problems[0].remedy


def test_two_items_that_exchanged_their_tags_are_both_told_twice() -> None:
    rows = [changed(tag="00900", serial="S901"), changed(tag="00901", serial="S900")]
    _, problems = read(register_csv(*rows))
    assert told(problems) == [
        (2, "serial", "S901"),
        (2, "tag", "00900"),
        (3, "serial", "S900"),
        (3, "tag", "00901"),
    ]


def test_a_repeated_row_names_the_first_even_if_that_is_refused_too() -> None:
    rows = [GOOD, changed(site="WEST", tag="2", serial="2"), changed(tag="2", serial="3"), GOOD]
    items, problems = read(register_csv(*rows))
    assert [item.line for item in items] == [2]
    assert told(problems) == [
        (3, "site", "WEST"),
        (4, "tag", "2"),
        (5, "serial", "00042"),
        (5, "tag", "00123"),
    ]
    assert "stands in line 3 already" in problems[1].remedy


def test_the_same_serial_of_another_maker_is_another_item() -> None:
    rows = [GOOD, changed(tag="2", maker="Brackwater")]
    assert read(register_csv(*rows))[1] == []


def test_a_word_that_nobody_knows_is_asked_about_once_and_taken() -> None:
    rows = [
        [f"T{number:03}7", *CYLINDER[1:4], f"S{number}", *CYLINDER[5:8], design, *CYLINDER[9:]]
        for number, design in enumerate(("DOT-39", "DOT-3AL", "DOT-39", "EN-13322-1", "DOT-39"))
    ]
    quoted = [[f'"{cell}"' for cell in row] for row in rows]
    items, problems = read(register_csv(*quoted, header=FULL_HEADER))
    assert (len(items), problems) == (5, [])
    words = {"specification": ["EN-13322-1"], "connection": ["M18x1.5"]}
    (question,) = questions("a.csv", items, Held((), {}, {}, words))
    assert told([question]) == [(2, "specification", "DOT-39")]
    assert question.remedy == (
        "is no known word for specification, here and in lines 4, 6; is it so on the item?"
    )
