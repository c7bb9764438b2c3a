"""One register with forty different faults: all are told, each once, in the file's order."""

from pathlib import Path

from tests.registry.lists.making import read

FILE = Path(__file__).parents[2] / "refused" / "lists" / "register-40-faults.csv"

ROUNDED = (
    "is a number that a spreadsheet has rounded; format the column as text and type the code again"
)
EXPECTED = [
    (1, "", "colour", "is not a column of this list; delete it, or give it the name of one"),
    (1, "model", "Model", "is named twice; delete one of the two columns"),
    (3, "tag", "", "is empty; every row needs its tag"),
    (4, "tag", "1.2E+11", ROUNDED),
    (
        5,
        "tag",
        "АB103",
        "mixes Latin and Cyrillic letters: character 1 is CYRILLIC CAPITAL LETTER A; "
        "type it again in one alphabet",
    ),
    (
        6,
        "tag",
        "'00104",
        "begins with an apostrophe, a spreadsheet's mark for text; take it off",
    ),
    (7, "tag", "00100", "stands in line 2 already; keep one of the two rows"),
    (
        8,
        "tag",
        "00900",
        "is registered with maker Northvale and serial S900, not Northvale and C106; "
        "correct the tag, or what stands on the plate",
    ),
    (9, "kind", "masks", "is not a kind of item; write mask if that is meant"),
    (10, "maker", "", "is empty; every row needs its maker"),
    (11, "serial", "", "is empty; every row needs its serial"),
    (
        12,
        "serial",
        "C100",
        "of maker northvale stands in line 2 already; "
        "correct the serial or delete one of the two rows",
    ),
    (
        13,
        "serial",
        "S901",
        "of maker Northvale is registered with the tag 00901; "
        "write that tag, or correct the serial",
    ),
    (14, "made_on", "31.02.2019", "does not exist: February 2019 has 28 days; write YYYY-MM-DD"),
    (15, "made_on", "05/2019", "has the year last; write YYYY-MM: 2019-05"),
    (16, "made_on", "2027-01", "is in the future; at NORTH today is 2026-11-25"),
    (
        17,
        "in_service_on",
        "03/04/2020",
        "can be 3 April or 4 March; write YYYY-MM-DD, 2020-04-03 or 2020-03-04",
    ),
    (18, "in_service_on", "01.06.19", "has a year of two figures; write all four, YYYY-MM-DD"),
    (19, "in_service_on", "2019-04-30", "is before it was made, 2019-05; correct one of the two"),
    (
        20,
        "in_service_on",
        "2030-01-01",
        "is more than 2 years ahead; at NORTH today is 2026-11-25",
    ),
    (
        21,
        "in_service_on",
        "43617",
        "is a spreadsheet's number for a day, perhaps 2019-06-01; write YYYY-MM-DD",
    ),
    (22, "site", "NROTH", "is not a site of the register; write NORTH if that is meant"),
    (23, "site", "", "is empty; every row needs its site"),
    (
        24,
        "specification",
        "DOT 3AL",
        "has spaces or small letters; write it with hyphens, DOT-3AL",
    ),
    (25, "construction", "typ-3", "is not a construction; write type-3 if that is meant"),
    (26, "fibre", "basalt", "is not a fibre; write one of aramid, carbon, glass"),
    (
        27,
        "fibre",
        "carbon",
        "can't be on a type-1 cylinder, which is all metal; correct one of the two",
    ),
    (
        28,
        "marks",
        "plus, star",
        "holds the mark 'plus, star'; write marks as small words with ; between them, "
        "such as plus;star",
    ),
    (29, "water_capacity_l", "6.8 l", "has a unit in the cell; write the number alone, in L"),
    (
        30,
        "water_capacity_l",
        "6800",
        "is not between 0.1 and 150 L; check the figure and its unit",
    ),
    (
        31,
        "working_pressure_bar",
        "1,300",
        "can be 1300 or 1.300; write a decimal point and no thousands separator",
    ),
    (
        32,
        "test_pressure_bar",
        "200",
        "is below the working pressure of 300 bar; correct one of the two",
    ),
    (
        33,
        "tare_kg",
        "about 4",
        "is not a number; write digits, such as 6.8, or leave the cell empty if not known",
    ),
    (34, "ree_ml", "#N/A", "is a failed calculation; type the value itself or empty the cell"),
    (35, "design_life_years", "15.5", "is not a whole number; write whole years"),
    (36, "tare_kg", "4.1", "belongs to cylinders only; empty the cell, as this is a mask"),
    (37, "size", "a size that is far too long for it", "has 34 characters; write 20 at most"),
    (
        38,
        "model",
        "M\n1",
        "holds unusual characters (character 2 is a line break); "
        "write it in one line and without them",
    ),
    (
        40,
        "",
        "one more",
        "stands right of the last column; put quotation marks around a cell that holds the "
        "separator, or name the column",
    ),
    (
        41,
        "",
        "",
        "begins a row with a quotation mark that is not closed or not doubled (reading stopped "
        "at line 42); put quotation marks around the whole cell and double those inside it. "
        "Rows from here on were not looked at",
    ),
]


def test_all_forty_are_told_and_nothing_else() -> None:
    items, problems = read(FILE.read_bytes(), "forty.csv")
    assert [(p.line, p.column, p.value, p.remedy) for p in problems] == EXPECTED
    assert len({remedy for *_, remedy in EXPECTED}) > 35
    assert [item.line for item in items] == [2]
    assert {problem.file for problem in problems} == {"forty.csv"}
