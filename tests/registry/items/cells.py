"""Cells of a register's list, and what must become of each by whatever road it comes."""

CYLINDER = {
    "tag": "00777",
    "kind": "cylinder",
    "maker": "Northvale",
    "model": "NV 68",
    "serial": "C777",
    "made_on": "2019-05-03",
    "in_service_on": "2019-06-01",
    "specification": "UN-ISO-11119-2",
    "construction": "type-3",
    "fibre": "carbon",
    "marks": "plus",
    "water_capacity_l": "6.8",
    "working_pressure_bar": "300",
    "test_pressure_bar": "450",
    "tare_kg": "4.1",
    "ree_ml": "210.5",
    "design_life_years": "15",
    "connection": "G5/8-300",
    "size": "",
}
"""A good row, but for the site; each case below changes cells of it."""

NUMBERS = ("water_capacity_l", "working_pressure_bar", "test_pressure_bar", "tare_kg", "ree_ml")
REFUSED: tuple[dict[str, str], ...] = (
    {"tag": ""},
    {"tag": "1.2E+11"},
    {"tag": "'00104"},
    {"tag": "АB103"},  # a Cyrillic А
    {"tag": "A–1"},
    {"tag": "x" * 65},
    {"kind": ""},
    {"kind": "masks"},
    {"maker": ""},
    {"maker": "x" * 81},
    {"model": "M\n1"},
    {"model": "\u202eM"},
    {"model": "x" * 81},
    {"serial": ""},
    {"serial": "1,5E+9"},
    *(
        {"made_on": text}
        for text in (
            *("2019", "05/2019", "2019-13", "2019-02-30", "31.02.2019", "03/04/2020", "1899-12"),
            *("2019-W26-2", "20190625", "25 June 2019", "43617", "2119-06", "2019-05-03 08:15"),
        )
    ),
    *(
        {"in_service_on": text}
        for text in (
            *("2019-06", "2019-06-31", "01.06.19", "1 Jun 2019", "2119-06-01", "2019-05-02"),
            *("43617", "2019-06-01T00:00"),
        )
    ),
    *(
        {"specification": text}
        for text in (
            *("dot-3ht", "DOT 3AL", "UN_ISO-9809-1", "DOT3HT", "3HT", "DOT-3HT1850"),
            *("DOT-SP10915-4500", "EN-12245:2009", "x" * 41, "DOT-3А", "#N/A"),
        )
    ),
    {"construction": "typ-3"},
    {"construction": "steel"},
    {"fibre": "basalt"},
    {"construction": "type-1", "fibre": "carbon"},
    *({"marks": text} for text in ("STAR", "plus, star", "air-tight-packed", "plus;-star", "ß")),
    *(
        {name: text}
        for name in NUMBERS
        for text in (
            "six",
            "6.8 l",
            "1,200",
            "1 300",
            "1e3",
            "0",
            "-5",
            "6.80001",
            "99999",
            "#REF!",
        )
    ),
    {"working_pressure_bar": "1000.5"},
    {"test_pressure_bar": "299.99"},
    {"test_pressure_bar": "1501"},
    *({"design_life_years": text} for text in ("0", "61", "15.5", "15.0", "2034", "fifteen")),
    {"connection": "x" * 41},
    {"connection": "###"},
    {"size": "a size that is far too long for it"},
    {"kind": "mask"},  # with all that only cylinders have
    {"kind": "mask", "specification": "dot-3ht"},
)
ACCEPTED: tuple[dict[str, str], ...] = (
    {},
    {"kind": "Cylinder"},
    {"tag": "  00778 "},
    {"tag": "'-5"},
    {"serial": "000"},
    {"model": ""},
    {"made_on": ""},
    {"made_on": "2019-05"},
    {"in_service_on": ""},
    {"in_service_on": "2019-05-03"},
    {"made_on": "2019-05", "in_service_on": "2019-05-01"},
    {"specification": ""},
    {"specification": "DOT-3HT"},
    {"specification": "DOT-39"},
    {"construction": "", "fibre": ""},
    {"construction": "TYPE-3"},
    {"construction": "type-1", "fibre": "", "specification": "DOT-3AA", "marks": "plus;star"},
    {"marks": ""},
    {"marks": "star;plus;star"},
    {"marks": "brigade-spare; nll", "design_life_years": ""},
    *({name: ""} for name in NUMBERS),
    {"water_capacity_l": "6,8"},
    {"water_capacity_l": "150"},
    {"working_pressure_bar": "300.50"},
    {"test_pressure_bar": "1500"},
    {"ree_ml": "0.1"},
    {"design_life_years": "60"},
    {"connection": "M18x1.5"},
    {"connection": "g5/8-300"},
    {"size": "M"},
)
