"""The table iso-en-cylinders against ISO 18119, ADR P200 and what national practice adds.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from datetime import date

from servicing.rules.pure.durations import Duration
from servicing.rules.pure.rule import Condition, Level, OneOf, Rule
from tests.published.cases import (
    NOTHING,
    Described,
    Row,
    answer,
    check,
    governing,
    longest_retest,
    rules_of,
    table_of,
)

RULES = rules_of("iso-en-cylinders")

HYDRO, INSIDE, OUTSIDE = "hydrostatic-retest", "internal-inspection", "external-inspection"
LIFE = "service-life"

CYLINDER: Described = {"kind": "cylinder"}
STEEL: Described = CYLINDER | {"specification": "EN-1964-1", "construction": "type-1"}
WRAPPED: Described = CYLINDER | {
    "specification": "EN-12245",
    "construction": "type-3",
    "fibre": "carbon",
}
MONTHS_30: Described = {"marks": frozenset({"internal-30-months"})}
WITH_RETEST: Described = {"marks": frozenset({"internal-with-retest"})}

P200 = "ADR 2025 P200 (3)(d), note: five years for composites"
ISO = "ISO 18119:2018, informative annex: breathing air, inside 1 year, pressure 5 years"
ISO_30 = "ISO 18119:2018, informative annex: at most 2.5 years after a risk assessment"
GERMANY = "DE practice: inside, strength and weight every 5 years (two pages agree)"
OUTER = "DE practice: outside every 2.5 years (one page)"
FINLAND = "Tukes release of 16 February 2015: composites for breathing apparatus 3 years"
COUPLED = "a UK diving club's manual (2017): a late look inside leaves the test where it was"
FILLING = "ADR 4.1.6.10 (2019): not filled once due"
DESIGN_LIFE = "ISO 11623:2015 as adopted in AS 2337.3:2020, cl. 4-5: not refilled at its end"
FLOOR = "ISO 11119-2:2020, cl. 1: fifteen years are the least a maker may design for"
UNLIMITED = "EN 12245 knows cylinders without a limited life (from memory)"
DAMAGED = "ADR 4.1.6.11 (2019) / SOR/2010-120 s. 142(4): out of service until a test proves it"
STEPS = "ISO 11623:2015 as adopted in AS 2337.3:2020, cl. 5: the outside is the first step"


# fmt: off
PRESSURE_TESTS = (
    Row("a composite tested in June 2021 is due in June 2026 and not in 2031",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 adr-cyl-composite current", P200),
    Row("steel tested in June 2021 is due in June 2026 and not in 2031",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 iso-cyl-metal current", ISO + " / " + GERMANY),
    Row("the day itself is the last good one",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15", "2026-06-15",
        HYDRO, "2026-06-15 iso-cyl-metal due-soon", FILLING),
    Row("due in June and asked in July, it may not be filled, though filled in May",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15; fill 2026-05-04", "2026-07-01",
        HYDRO, "2026-06-15 iso-cyl-metal overdue", FILLING),
    Row("steel known by its stamp only has five years",
        CYLINDER | {"specification": "EN-1975"},
        "made 2006-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 iso-cyl-metal-by-stamp current", ISO),
    Row("a composite known by its stamp only has five years",
        CYLINDER | {"specification": "EN-12257"},
        "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 adr-cyl-composite-by-stamp current", P200),
    Row("a UN composite has five years",
        CYLINDER | {"specification": "UN-ISO-11119-3", "construction": "type-4"},
        "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 adr-cyl-composite current", P200),
    Row("a breathing-air cylinder of which nothing is known has five years",
        CYLINDER, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 iso-cyl-of-any-make current",
        "DE, UK and IE practice (several pages agree) / MSC.1/Circ.1452 as told by a flag state"),
    Row("a new cylinder counts from its made date",
        WRAPPED, "made 2022-03-31; in-service 2023-01-10", "2025-11-25",
        HYDRO, "2027-03-31 adr-cyl-composite current", P200),
    Row("steel that failed is due on that day, by the row that stands highest",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15; hydrostatic-retest 2025-10-02 fail",
        "2025-11-25", HYDRO, "2025-10-02 adr-cyl-outer-limit overdue", FILLING),
    Row("a leap day lasts until 28 February",
        WRAPPED, "made 2014-02-10; hydrostatic-retest 2024-02-29", "2025-11-25",
        HYDRO, "2029-02-28 adr-cyl-composite current", P200),
    Row("a cylinder without any date is undetermined and not fine",
        WRAPPED, "", "2025-11-25",
        HYDRO, "unknown adr-cyl-composite undetermined", P200),
)
# fmt: on


@table_of(*PRESSURE_TESTS)
def test_a_breathing_air_cylinder_is_pressure_tested_every_five_years(row: Row) -> None:
    check(row, RULES)


FINNISH = Rule(
    id="local-finland",
    table="local",
    task=HYDRO,
    level=Level.LOCAL,
    when=Condition((("construction", OneOf(frozenset({"type-2", "type-3", "type-4"}))),)),
    every=Duration(36),
    source=FINLAND,
    seen="secondary",
)


# fmt: off
IN_FINLAND = (
    Row("three years in Finland, for composites",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 local-finland current", FINLAND),
    Row("and five for steel as before",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2026-06-15 iso-cyl-metal current", FINLAND),
)
# fmt: on


@table_of(*IN_FINLAND)
def test_a_stricter_country_is_a_local_rule_that_shortens(row: Row) -> None:
    check(row, (*RULES, FINNISH))


# fmt: off
TWO_CLOCKS = (
    Row("inside once a year",
        STEEL, "made 2016-05-20; internal-inspection 2024-12-02", "2025-11-25",
        INSIDE, "2025-12-02 iso-cyl-internal due-soon", ISO),
    Row("a pressure test does not stand in for it",
        STEEL, "made 2016-05-20; internal-inspection 2023-12-02; hydrostatic-retest 2025-01-10",
        "2025-11-25", INSIDE, "2024-12-02 iso-cyl-internal overdue", COUPLED),
    Row("steel known by its stamp only is looked into as well",
        CYLINDER | {"specification": "ISO-7866"}, "made 2016-05-20; internal-inspection 2024-12-02",
        "2025-11-25", INSIDE, "2025-12-02 iso-cyl-internal-by-stamp due-soon", ISO),
    Row("a look inside in January 2025 leaves the test of January 2021 due in January 2026",
        STEEL | MONTHS_30,
        "made 2006-05-20; hydrostatic-retest 2021-01-18; internal-inspection 2025-01-20",
        "2025-09-25", HYDRO, "2026-01-18 iso-cyl-metal current", COUPLED),
    Row("and is itself due again in July 2027",
        STEEL | MONTHS_30,
        "made 2006-05-20; hydrostatic-retest 2021-01-18; internal-inspection 2025-01-20",
        "2025-09-25", INSIDE, "2027-07-20 iso-cyl-internal-30-months current", ISO_30),
    Row("thirty months from 31 August end on the last of February",
        STEEL | MONTHS_30, "made 2006-05-20; internal-inspection 2023-08-31", "2025-11-25",
        INSIDE, "2026-02-28 iso-cyl-internal-30-months current", ISO_30),
    Row("thirty months from 31 August end on a leap day",
        STEEL | MONTHS_30, "made 2006-05-20; internal-inspection 2021-08-31", "2023-11-25",
        INSIDE, "2024-02-29 iso-cyl-internal-30-months current", ISO_30),
    Row("a look at year four leaves the test one year",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15; internal-inspection 2025-06-15",
        "2025-11-25", HYDRO, "2026-06-15 iso-cyl-metal current", COUPLED),
    Row("where national law joins the two, inside has five years",
        STEEL | WITH_RETEST,
        "made 2006-05-20; hydrostatic-retest 2021-06-15; internal-inspection 2021-06-15",
        "2025-11-25", INSIDE, "2026-06-15 iso-cyl-internal-with-retest current", GERMANY),
    Row("with both marks the shorter counts",
        STEEL | {"marks": frozenset({"internal-30-months", "internal-with-retest"})},
        "made 2006-05-20; internal-inspection 2024-06-15", "2025-11-25",
        INSIDE, "2026-12-15 iso-cyl-internal-30-months current", ISO_30),
    Row("composites have no clock for the inside",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        INSIDE, NOTHING, "ISO 18119:2018, cl. 1: not for composites"),
)
# fmt: on


@table_of(*TWO_CLOCKS)
def test_inside_and_pressure_are_two_clocks_that_never_restart_each_other(row: Row) -> None:
    check(row, RULES)


# fmt: off
OUTSIDES = (
    Row("outside every two and a half years",
        WRAPPED, "made 2016-05-20; external-inspection 2023-12-05", "2025-11-25",
        OUTSIDE, "2026-06-05 iso-cyl-external current", OUTER),
    Row("a retest looks at the outside too",
        WRAPPED, "made 2016-05-20; external-inspection 2021-12-05; hydrostatic-retest 2024-03-11",
        "2025-11-25", OUTSIDE, "2026-09-11 iso-cyl-external current", STEPS),
    Row("a look inside does not",
        STEEL, "made 2016-05-20; external-inspection 2021-12-05; internal-inspection 2024-03-11",
        "2025-11-25", OUTSIDE, "2024-06-05 iso-cyl-external overdue", OUTER),
    Row("and the outside never restarts the test",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15; external-inspection 2025-03-11",
        "2025-11-25", HYDRO, "2026-06-15 iso-cyl-metal current", OUTER),
)
# fmt: on


@table_of(*OUTSIDES)
def test_the_outside_is_looked_at_between_retests(row: Row) -> None:
    check(row, RULES)


# fmt: off
LIVES = (
    Row("a marked life of fifteen years ends fifteen years after it was made",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14; hydrostatic-retest 2021-07-05",
        "2025-11-25", LIFE, "2026-06-14 iso-cyl-marked-life due-soon", DESIGN_LIFE),
    Row("a good test does not outlive it",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14; hydrostatic-retest 2021-07-05",
        "2025-11-25", HYDRO, NOTHING, DESIGN_LIFE),
    Row("a test that falls before it stays",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14; hydrostatic-retest 2020-07-05",
        "2025-11-25", HYDRO, "2025-07-05 adr-cyl-composite overdue", DESIGN_LIFE),
    Row("twenty years are twenty",
        WRAPPED | {"design_life_years": 20}, "made 2011-06-14; hydrostatic-retest 2021-07-05",
        "2025-11-25", LIFE, "2031-06-14 iso-cyl-marked-life current", DESIGN_LIFE),
    Row("without a mark no life ends, not even after fifteen years",
        CYLINDER | {"specification": "ISO-11119-2", "construction": "type-3"},
        "made 2005-06-14; hydrostatic-retest 2021-07-05", "2025-11-25", LIFE, NOTHING, FLOOR),
    Row("an unlimited life is tested on",
        WRAPPED, "made 2005-06-14; hydrostatic-retest 2021-07-05", "2025-11-25",
        HYDRO, "2026-07-05 adr-cyl-composite current", UNLIMITED),
    Row("a marked life of a cylinder without a made date is undetermined",
        WRAPPED | {"design_life_years": 15}, "hydrostatic-retest 2021-07-05", "2025-11-25",
        LIFE, "unknown iso-cyl-marked-life undetermined", DESIGN_LIFE),
)
# fmt: on


@table_of(*LIVES)
def test_the_mark_alone_ends_the_life_of_an_iso_or_en_cylinder(row: Row) -> None:
    check(row, RULES)


# fmt: off
EVENTS = (
    Row("a blow", WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15; impact 2025-10-01",
        "2025-11-25", HYDRO, "2025-10-01 iso-cyl-when-damaged overdue", DAMAGED),
    Row("damage", STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15; damage 2025-10-01",
        "2025-11-25", HYDRO, "2025-10-01 iso-cyl-when-damaged overdue", DAMAGED),
    Row("heat", WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15; overheating 2025-10-01",
        "2025-11-25", HYDRO, "2025-10-01 iso-cyl-when-damaged overdue", DAMAGED),
    Row("a test after it starts a full period",
        WRAPPED, "made 2016-05-20; impact 2025-10-01; hydrostatic-retest 2025-10-20",
        "2025-11-25", HYDRO, "2030-10-20 adr-cyl-composite current", DAMAGED),
    Row("corrosion asks for a look inside, composites included",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15; corrosion-found 2025-10-01",
        "2025-11-25", INSIDE, "2025-10-01 iso-cyl-when-corroded overdue",
        "common practice; DGUV R 112-190 (older edition) 3.3.3 consulted"),
)
# fmt: on


@table_of(*EVENTS)
def test_a_cylinder_that_suffered_is_due_at_once(row: Row) -> None:
    check(row, RULES)


def test_the_outer_limit_of_transport_law_is_shown_and_does_not_govern() -> None:
    alone = tuple(rule for rule in RULES if rule.id == "adr-cyl-outer-limit")
    row = Row(
        "steel by transport law alone",
        STEEL,
        "made 2006-05-20; hydrostatic-retest 2021-06-15",
        "2025-11-25",
        HYDRO,
        "2031-06-15 adr-cyl-outer-limit current",
        "ADR P200, table 1, UN 1002: ten years (two pages agree)",
    )
    check(row, alone)
    assert answer(row, RULES).startswith("2026-06-15"), ISO


def test_every_row_of_the_iso_and_en_table_is_argued_for_above() -> None:
    argued = governing(PRESSURE_TESTS, TWO_CLOCKS, OUTSIDES, LIVES, EVENTS)
    assert {rule.id for rule in RULES} == argued


def test_no_stamp_and_no_gap_in_the_register_gives_more_than_five_years() -> None:
    assert set(longest_retest(RULES).values()) == {date(2029, 1, 1)}, f"{ISO}; {P200}"
