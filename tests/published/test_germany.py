"""The table germany against BetrSichV and the workshop tables of DGUV.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from datetime import date

from tests.published.cases import (
    NOTHING,
    Described,
    Row,
    check,
    governing,
    longest_retest,
    rules_of,
    table_of,
)

RULES = rules_of("germany")

HYDRO, INSIDE, OUTSIDE = "hydrostatic-retest", "internal-inspection", "external-inspection"
LIFE, LEAK, CLEANING, TEST = "service-life", "tightness-test", "cleaning", "functional-test"
DISC, DIAPHRAGM, OVERHAUL = "disc-renewal", "diaphragm-renewal", "overhaul"

CYLINDER: Described = {"kind": "cylinder"}
STEEL: Described = CYLINDER | {"specification": "EN-1964-1", "construction": "type-1"}
WRAPPED: Described = CYLINDER | {"specification": "EN-12245", "construction": "type-3"}
SET: Described = {"kind": "set"}
REDUCER: Described = {"kind": "reducer"}
VALVE: Described = {"kind": "demand-valve"}
MASK: Described = {"kind": "mask"}
PACKED: Described = MASK | {"marks": frozenset({"airtight-packed"})}
PACKED_ON_VEHICLE: Described = MASK | {"marks": frozenset({"airtight-packed", "on-vehicle"})}

LAW = "BetrSichV annex 2 part 4, table 12, line 7.6 a): outside, inside, strength 5 years"
LEXICA = "two lexicons: breathing-air cylinders outside every 2.5 years"
EVENT = "BetrSichV section 14(3): after an extraordinary event, before further use"
MARK = "DGUV R 112-190, 6.9.3 (2021): the maker's stricter word goes first"
MASKS = "DGUV G 305-002 annex 2 (BGI/GUV-I 8674), full masks"
COLUMNS = "DGUV R 112-190 (2021), table 13: after use, half-yearly, 2 years, 6 years"
PART_MADE = "DGUV R 112-190, 6.9.3: counted from the part's manufacture"
SETS = "DGUV G 305-002 annex 2, complete set (a district fire association): 6 months"
VALVES = "DGUV G 305-002 annex 2, demand valve (figure from memory)"
REDUCERS = "DGUV G 305-002 annex 2, apparatus without demand valve: 6 years"
RELEASE = "FwDV 7 chapter 8: usable again after test and release"


# fmt: off
CYLINDERS = (
    Row("steel tested in June 2021 is due in June 2026 and not in 2031",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 de-cyl-strength current", LAW),
    Row("composites alike",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 de-cyl-strength current", LAW),
    Row("a new one counts from the day it was made",
        CYLINDER, "made 2021-06-30; in-service 2022-01-10", "2026-07-01",
        HYDRO, "2026-06-30 de-cyl-strength overdue", LAW),
    Row("inside with it, as a record of its own",
        STEEL, "made 2016-05-20; internal-inspection 2021-06-15", "2026-05-25",
        INSIDE, "2026-06-15 de-cyl-inside due-soon", LAW),
    Row("the strength test by itself leaves the inside open",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2021-06-16",
        INSIDE, "2021-05-20 de-cyl-inside overdue", LAW),
    Row("outside half-way",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-06-25",
        OUTSIDE, "2023-12-15 de-cyl-outside-half-way current", LEXICA),
    Row("what failed outside is due by the row of the law",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15; external-inspection 2023-06-01"
        " fail", "2023-06-25", OUTSIDE, "2023-06-01 de-cyl-outside overdue", LAW),
    Row("a marked life ends it, whatever the law would still allow",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14; hydrostatic-retest 2021-07-05",
        "2025-11-25", LIFE, "2026-06-14 de-cyl-marked-life due-soon", MARK),
    Row("and no retest is shown past it",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14; hydrostatic-retest 2021-07-05",
        "2025-11-25", HYDRO, NOTHING, MARK),
    Row("a blow asks for the test at once",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15; impact 2023-06-01",
        "2023-06-25", HYDRO, "2023-06-01 de-cyl-when-affected overdue", EVENT),
    Row("corrosion for a look inside",
        STEEL, "made 2016-05-20; internal-inspection 2021-06-15; corrosion-found 2023-06-01",
        "2023-06-25", INSIDE, "2023-06-01 de-cyl-when-corroded overdue", EVENT),
)
# fmt: on


@table_of(*CYLINDERS)
def test_a_german_cylinder_for_breathing_has_five_years(row: Row) -> None:
    check(row, RULES)


MASK_TESTED = "made 2020-05-03; in-service 2020-06-01; tightness-test 2025-01-10"


# fmt: off
WORKSHOP_MASKS = (
    Row("on an open shelf", MASK, MASK_TESTED, "2025-05-25",
        LEAK, "2025-07-10 de-mask-test current", MASKS + " / " + COLUMNS),
    Row("airtight-packed", PACKED, MASK_TESTED, "2025-05-25",
        LEAK, "2027-01-10 de-mask-test-packed current", MASKS + " / " + COLUMNS),
    Row("airtight-packed on a vehicle", PACKED_ON_VEHICLE, MASK_TESTED, "2025-05-25",
        LEAK, "2025-07-10 de-mask-test-packed-on-vehicle current", MASKS),
    Row("cleaned on the shelf", MASK, "made 2020-05-03; cleaning 2024-08-31", "2025-01-20",
        CLEANING, "2025-02-28 de-mask-cleaning current", MASKS + ": 6 months"),
    Row("cleaned and packed", PACKED, "made 2020-05-03; cleaning 2025-01-10", "2025-05-25",
        CLEANING, "2027-01-10 de-mask-cleaning-packed current", MASKS + ": 2 years"),
    Row("tested after use",
        PACKED, MASK_TESTED + "; use 2025-03-02", "2025-03-03",
        LEAK, "2025-03-02 de-mask-when-used overdue", MASKS + " / " + COLUMNS),
    Row("and after every cleaning",
        MASK, MASK_TESTED + "; cleaning 2025-03-02", "2025-03-03",
        LEAK, "2025-03-02 de-mask-when-used overdue", MASKS),
    Row("cleaned after use",
        MASK, "made 2020-05-03; cleaning 2025-01-10; use 2025-03-02", "2025-03-03",
        CLEANING, "2025-03-02 de-mask-when-used-cleaning overdue", MASKS),
    Row("2013 says four years for the disc, 2021 has no such column: four stand",
        MASK, "made 2020-05-03; disc-renewal 2024-03-01 part 2022-09-15", "2025-11-25",
        DISC, "2026-09-15 de-mask-disc current", MASKS + " / " + PART_MADE),
    Row("use does not restart it",
        MASK, "made 2020-05-03; use 2025-03-02; tightness-test 2025-03-02", "2025-03-03",
        DISC, "2024-05-03 de-mask-disc overdue", MASKS),
    Row("six for the speech diaphragm, in both editions",
        MASK, "made 2014-05-03; diaphragm-renewal 2020-06-01 part 2020-02-29", "2025-10-25",
        DIAPHRAGM, "2026-02-28 de-mask-speech-diaphragm current", MASKS + " / " + COLUMNS),
)
# fmt: on


@table_of(*WORKSHOP_MASKS)
def test_a_german_mask_is_tested_by_where_and_how_it_is_kept(row: Row) -> None:
    check(row, RULES)


# fmt: off
WORKSHOP_SETS = (
    Row("a complete set", SET, "made 2020-05-03; functional-test 2025-01-10", "2025-05-25",
        TEST, "2025-07-10 de-set-test current", SETS),
    Row("cleaned though unused", SET, "made 2020-05-03; cleaning 2025-01-10", "2025-05-25",
        CLEANING, "2025-07-10 de-set-cleaning current", SETS),
    Row("a demand valve", VALVE, "made 2020-05-03; functional-test 2025-01-10", "2025-05-25",
        TEST, "2025-07-10 de-valve-test current", VALVES + ": 6 months"),
    Row("its diaphragm by its own age",
        VALVE, "made 2014-05-03; diaphragm-renewal 2022-06-01 part 2022-02-10", "2025-10-25",
        DIAPHRAGM, "2026-02-10 de-valve-diaphragm current", VALVES + " / " + PART_MADE),
    Row("its overhaul", VALVE, "made 2014-05-03; overhaul 2020-04-20", "2025-10-25",
        OVERHAUL, "2026-04-20 de-valve-overhaul current", VALVES + ": 6 years"),
    Row("a reducer's", REDUCER, "made 2014-05-03; overhaul 2020-04-20", "2025-10-25",
        OVERHAUL, "2026-04-20 de-reducer-overhaul current", REDUCERS),
    Row("a used set is tested",
        SET, "made 2020-05-03; functional-test 2025-01-10; use 2025-03-02", "2025-03-03",
        TEST, "2025-03-02 de-set-when-used overdue", SETS + " / " + RELEASE),
    Row("a used demand valve is tested",
        VALVE, "made 2020-05-03; functional-test 2025-01-10; use 2025-03-02", "2025-03-03",
        TEST, "2025-03-02 de-valve-when-used overdue", VALVES),
    Row("and cleaned",
        VALVE, "made 2020-05-03; cleaning 2025-01-10; use 2025-03-02", "2025-03-03",
        CLEANING, "2025-03-02 de-set-when-used-cleaning overdue", VALVES),
)
# fmt: on


@table_of(*WORKSHOP_SETS)
def test_german_apparatus_is_tested_cleaned_and_overhauled(row: Row) -> None:
    check(row, RULES)


def test_every_row_of_the_german_table_is_argued_for_above() -> None:
    assert {rule.id for rule in RULES} == governing(CYLINDERS, WORKSHOP_MASKS, WORKSHOP_SETS)


def test_no_german_cylinder_has_more_than_five_years() -> None:
    assert set(longest_retest(RULES).values()) == {date(2029, 1, 1)}, LAW
