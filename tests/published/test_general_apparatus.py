"""The table general-apparatus against OSHA, COSHH, DGUV and EN 12021.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from tests.published.cases import NOTHING, Row, check, governing, rules_of, table_of

RULES = rules_of("general-apparatus")

MONTHLY, CLEANING, TEST = "periodic-inspection", "cleaning", "functional-test"
LEAK, FLOW, OVERHAUL, LIFE = "tightness-test", "flow-test", "overhaul", "service-life"
DISC, DIAPHRAGM, CALIBRATION = "disc-renewal", "diaphragm-renewal", "calibration"
AIR, INSIDE, DRYING = "air-quality-test", "internal-inspection", "drying"

SET, FRAME, REDUCER = {"kind": "set"}, {"kind": "frame"}, {"kind": "reducer"}
MASK, VALVE, CONNECTOR = {"kind": "mask"}, {"kind": "demand-valve"}, {"kind": "connector"}
GAUGE, COMPRESSOR, CYLINDER = {"kind": "instrument"}, {"kind": "compressor"}, {"kind": "cylinder"}
PACKED = MASK | {"marks": frozenset({"airtight-packed"})}
ON_VEHICLE = MASK | {"marks": frozenset({"on-vehicle"})}
PACKED_ON_VEHICLE = MASK | {"marks": frozenset({"airtight-packed", "on-vehicle"})}

OSHA = "29 CFR 1910.134(h)(3)(i)(B) and (iii): at least monthly"
COSHH = "COSHH reg. 9(3) / L5 para 181: at least monthly"
OSHA_CLEAN = "29 CFR 1910.134(h)(1)(iii): after each use"
MASKS = "DGUV G 305-002 annex 2 (BGI/GUV-I 8674), full masks"
SETS = "DGUV G 305-002 annex 2, complete set (a district fire association)"
VALVES = "DGUV G 305-002 annex 2, demand valve (figure from memory)"
PART_MADE = "DGUV R 112-190, 6.9.3 (2021): counted from the part's manufacture"
REDUCERS = "DGUV G 305-002 annex 2, apparatus without demand valve: 6 years"
NFPA = "NFPA 1852: yearly flow test (from memory)"
EN_12021 = "EN 12021:2014 annex / HSG53: at least every 3 months"
CHANGE = "EN 12021:2014 annex / HSG53: after any change at the compressor"
YEARLY = "common practice: yearly; ISO/IEC 17025 6.4 leaves the interval to the user"
RELEASE = "FwDV 7 ch. 8: usable again only after test and release"
DGUV_WET = "DGUV R 112-190 (older edition) 3.3.3"


# fmt: off
MONTHS = (
    Row("done on 31 January, due by 28 February",
        SET, "made 2020-05-03; in-service 2020-06-01; periodic-inspection 2025-01-31",
        "2025-02-10", MONTHLY, "2025-02-28 app-monthly current", COSHH),
    Row("done on 28 February, due by 31 March: the 31st is not lost",
        SET, "made 2020-05-03; periodic-inspection 2025-01-31; periodic-inspection 2025-02-28",
        "2025-03-10", MONTHLY, "2025-03-31 app-monthly current", COSHH),
    Row("done on the first of a month, due by the last of the next",
        SET, "made 2020-05-03; periodic-inspection 2025-01-01", "2025-02-28",
        MONTHLY, "2025-02-28 app-monthly due-soon", OSHA),
    Row("missed in February, it is overdue on 1 March",
        SET, "made 2020-05-03; periodic-inspection 2025-01-20", "2025-03-01",
        MONTHLY, "2025-02-28 app-monthly overdue", OSHA),
    Row("a leap February has its 29th",
        MASK, "made 2020-05-03; periodic-inspection 2024-01-20", "2024-02-01",
        MONTHLY, "2024-02-29 app-monthly current", OSHA),
    Row("December runs into January",
        VALVE, "made 2020-05-03; periodic-inspection 2024-12-24", "2025-01-05",
        MONTHLY, "2025-01-31 app-monthly current", OSHA),
    Row("put into service in May, first due by the end of June",
        FRAME, "made 2024-11-03; in-service 2025-05-02", "2025-05-20",
        MONTHLY, "2025-06-30 app-monthly current", OSHA),
    Row("a cylinder by itself is no apparatus",
        CYLINDER, "made 2024-11-03", "2025-05-20", MONTHLY, NOTHING, OSHA),
)
# fmt: on


@table_of(*MONTHS)
def test_apparatus_is_inspected_once_in_every_calendar_month(row: Row) -> None:
    check(row, RULES)


# fmt: off
AFTER_USE = (
    Row("used masks are cleaned",
        MASK, "made 2020-05-03; cleaning 2025-01-10; use 2025-03-02", "2025-03-03",
        CLEANING, "2025-03-02 app-cleaning-after-use overdue", OSHA_CLEAN + " / " + MASKS),
    Row("used masks are tested",
        MASK, "made 2020-05-03; tightness-test 2025-01-10; use 2025-03-02", "2025-03-02",
        LEAK, "2025-03-02 app-mask-test-after-use due-soon", MASKS),
    Row("a mask cleaned after its last test is tested again",
        MASK, "made 2020-05-03; tightness-test 2025-01-10; cleaning 2025-01-11", "2025-02-01",
        LEAK, "2025-01-11 app-mask-test-after-use overdue",
        MASKS + ": tested after every cleaning"),
    Row("cleaned and then tested on the day of use, a mask is ready",
        MASK, "made 2020-05-03; use 2025-03-02; cleaning 2025-03-02; tightness-test 2025-03-02",
        "2025-03-03", LEAK, "2025-09-02 app-mask-test current", MASKS),
    Row("tested and then cleaned on that day, it is not",
        MASK, "made 2020-05-03; use 2025-03-02; tightness-test 2025-03-02; cleaning 2025-03-02",
        "2025-03-03", LEAK, "2025-03-02 app-mask-test-after-use overdue", MASKS),
    Row("a used set is tested",
        SET, "made 2020-05-03; functional-test 2025-01-10; use 2025-03-02", "2025-03-03",
        TEST, "2025-03-02 app-set-test-after-use overdue", SETS),
    Row("a used demand valve is cleaned",
        VALVE, "made 2020-05-03; cleaning 2025-01-10; use 2025-03-02", "2025-03-03",
        CLEANING, "2025-03-02 app-cleaning-after-use overdue", OSHA_CLEAN),
    Row("use does not restart the renewal of a disc",
        MASK, "made 2020-05-03; use 2025-03-02; tightness-test 2025-03-02", "2023-11-25",
        DISC, "2024-05-03 app-mask-disc current", MASKS),
    Row("whatever fell on its head is tested before it returns",
        REDUCER, "made 2020-05-03; functional-test 2025-01-10; impact 2025-03-02", "2025-03-03",
        TEST, "2025-03-02 app-set-test-after-event overdue", RELEASE),
    Row("a repaired mask is tested before it returns",
        MASK, "made 2020-05-03; tightness-test 2025-01-10; repair 2025-03-02", "2025-03-03",
        LEAK, "2025-03-02 app-mask-test-after-event overdue", RELEASE),
)
# fmt: on


@table_of(*AFTER_USE)
def test_apparatus_is_cleaned_and_tested_after_use(row: Row) -> None:
    check(row, RULES)


MASK_TESTED = "made 2020-05-03; in-service 2020-06-01; tightness-test 2025-01-10"


# fmt: off
MASK_TESTS = (
    Row("on an open shelf", MASK, MASK_TESTED, "2025-05-25",
        LEAK, "2025-07-10 app-mask-test current", MASKS + ": 6 months"),
    Row("airtight-packed", PACKED, MASK_TESTED, "2025-05-25",
        LEAK, "2027-01-10 app-mask-test-packed current", MASKS + ": 2 years"),
    Row("airtight-packed on a vehicle", PACKED_ON_VEHICLE, MASK_TESTED, "2025-05-25",
        LEAK, "2025-07-10 app-mask-test-on-vehicle current", MASKS + ": 6 months on vehicles"),
    Row("on a vehicle, not packed", ON_VEHICLE, MASK_TESTED, "2025-05-25",
        LEAK, "2025-07-10 app-mask-test-on-vehicle current", MASKS + ": 6 months on vehicles"),
    Row("tested on 31 August, due on the last of February",
        MASK, "made 2020-05-03; tightness-test 2024-08-31", "2024-11-25",
        LEAK, "2025-02-28 app-mask-test current", MASKS + ": 6 months"),
    Row("never tested, it counts from the day it was put into service",
        MASK, "made 2020-05-03; in-service 2025-01-10", "2025-05-25",
        LEAK, "2025-07-10 app-mask-test current", MASKS + ": 6 months"),
    Row("never tested and never noted as in service, it counts from its made date",
        MASK, "made 2025-01-03", "2025-05-25",
        LEAK, "2025-07-03 app-mask-test current", MASKS + ": 6 months"),
    Row("a clean mask on the shelf is cleaned again",
        MASK, "made 2020-05-03; cleaning 2025-01-10", "2025-05-25",
        CLEANING, "2025-07-10 app-mask-cleaning current", MASKS + ": 6 months"),
    Row("packed after cleaning, it has two years",
        PACKED, "made 2020-05-03; cleaning 2025-01-10", "2025-05-25",
        CLEANING, "2027-01-10 app-mask-cleaning-packed current", MASKS + ": 2 years"),
)
# fmt: on


@table_of(*MASK_TESTS)
def test_a_mask_is_tested_by_where_and_how_it_is_kept(row: Row) -> None:
    check(row, RULES)


# fmt: off
HALF_YEARS = (
    Row("a complete set", SET, "made 2020-05-03; functional-test 2025-01-10", "2025-05-25",
        TEST, "2025-07-10 app-set-test current", SETS + ": 6 months"),
    Row("a reducer by itself", REDUCER, "made 2020-05-03; functional-test 2025-01-10",
        "2025-05-25", TEST, "2025-07-10 app-set-test current", SETS + ": 6 months"),
    Row("a demand valve", VALVE, "made 2020-05-03; functional-test 2025-01-10", "2025-05-25",
        TEST, "2025-07-10 app-demand-valve-test current", VALVES + ": 6 months"),
    Row("a set that nobody used is cleaned",
        SET, "made 2020-05-03; cleaning 2025-01-10", "2025-05-25",
        CLEANING, "2025-07-10 app-set-cleaning current", SETS + ": 6 months"),
    Row("a connector", CONNECTOR, "made 2020-05-03; tightness-test 2025-01-10", "2025-05-25",
        LEAK, "2025-07-10 app-connector-test current",
        "common practice: with the complete set, 6 months"),
    Row("an overhaul ends with the test",
        REDUCER, "made 2020-05-03; functional-test 2025-01-10; overhaul 2025-03-01",
        "2025-05-25", TEST, "2025-09-01 app-set-test current", SETS),
    Row("a test is no overhaul",
        REDUCER, "made 2020-05-03; functional-test 2025-01-10", "2025-05-25",
        OVERHAUL, "2026-05-03 app-reducer-overhaul current", REDUCERS),
    Row("a failed test is due until one passes",
        SET, "made 2020-05-03; functional-test 2025-01-10; functional-test 2025-04-02 fail",
        "2025-05-25", TEST, "2025-04-02 app-set-test overdue", RELEASE),
    Row("flow is measured once a year",
        SET, "made 2020-05-03; flow-test 2024-06-30", "2025-05-25",
        FLOW, "2025-06-30 app-flow-test current", NFPA),
)
# fmt: on


@table_of(*HALF_YEARS)
def test_apparatus_is_tested_every_half_year(row: Row) -> None:
    check(row, RULES)


# fmt: off
RENEWALS = (
    Row("shelf time counts: the disc made in 2022 and fitted in 2024 ends in 2026",
        MASK, "made 2020-05-03; disc-renewal 2024-03-01 part 2022-09-15", "2025-11-25",
        DISC, "2026-09-15 app-mask-disc current", PART_MADE + " / " + MASKS + ": 4 years"),
    Row("where nobody wrote down when it was made, it counts from the fitting",
        MASK, "made 2020-05-03; disc-renewal 2024-03-01", "2025-11-25",
        DISC, "2028-03-01 app-mask-disc current", MASKS + ": 4 years"),
    Row("the first disc is as old as the mask",
        MASK, "made 2020-05-03; in-service 2022-01-10", "2023-11-25",
        DISC, "2024-05-03 app-mask-disc current", PART_MADE),
    Row("a speech diaphragm has six years",
        MASK, "made 2014-05-03; diaphragm-renewal 2020-06-01 part 2020-02-29", "2025-10-25",
        DIAPHRAGM, "2026-02-28 app-mask-speech-diaphragm current", MASKS + ": 6 years"),
    Row("a demand valve's diaphragm has four",
        VALVE, "made 2014-05-03; diaphragm-renewal 2022-06-01 part 2022-02-10", "2025-10-25",
        DIAPHRAGM, "2026-02-10 app-demand-valve-diaphragm current",
        "DGUV tables of 2008, demand valve: 4 years (from memory)"),
    Row("a part so old that it was due when it was fitted is due",
        MASK, "made 2014-05-03; disc-renewal 2024-03-01 part 2019-12-01", "2024-03-02",
        DISC, "2023-12-01 app-mask-disc overdue", PART_MADE),
    Row("a reducer is overhauled after six years",
        REDUCER, "made 2014-05-03; overhaul 2020-04-20", "2025-10-25",
        OVERHAUL, "2026-04-20 app-reducer-overhaul current", REDUCERS),
    Row("a demand valve too",
        VALVE, "made 2014-05-03; overhaul 2020-04-20", "2025-10-25",
        OVERHAUL, "2026-04-20 app-demand-valve-overhaul current", VALVES),
    Row("a mask is not overhauled but renewed",
        MASK, "made 2014-05-03", "2025-10-25", OVERHAUL, NOTHING, MASKS),
    Row("a life that the maker gave ends it",
        MASK | {"design_life_years": 12}, "made 2014-05-03", "2025-10-25",
        LIFE, "2026-05-03 app-marked-life due-soon",
        "DGUV R 112-190, 6.9.3: the maker's stricter word goes first"),
    Row("no life given, none ends",
        MASK, "made 2014-05-03", "2025-10-25", LIFE, NOTHING,
        "DGUV R 112-190, 6.9.3: the maker's stricter word goes first"),
)
# fmt: on


@table_of(*RENEWALS)
def test_what_ages_is_renewed_by_its_own_age(row: Row) -> None:
    check(row, RULES)


# fmt: off
INSTRUMENTS_AND_AIR = (
    Row("a gauge is calibrated once a year",
        GAUGE, "made 2020-05-03; in-service 2020-06-01; calibration 2024-12-11", "2025-10-25",
        CALIBRATION, "2025-12-11 app-calibration current", YEARLY),
    Row("a gauge without a calibration may not be used on its first day",
        GAUGE, "made 2025-05-03; in-service 2025-06-01", "2025-06-02",
        CALIBRATION, "2025-06-01 app-calibration overdue", YEARLY),
    Row("a gauge that was dropped is calibrated before it judges again",
        GAUGE, "made 2020-05-03; calibration 2024-12-11; impact 2025-03-01", "2025-03-02",
        CALIBRATION, "2025-03-01 app-calibration-after-event overdue", YEARLY),
    Row("air is tested every three months",
        COMPRESSOR, "made 2020-05-03; in-service 2020-06-01; air-quality-test 2025-01-15",
        "2025-03-25", AIR, "2025-04-15 app-air-quality current", EN_12021),
    Row("three months from 30 November end on the last of February",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2024-11-30", "2025-01-25",
        AIR, "2025-02-28 app-air-quality current", EN_12021),
    Row("or on its 29th",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2023-11-30", "2024-01-25",
        AIR, "2024-02-29 app-air-quality current", EN_12021),
    Row("nobody breathes from a compressor that was never tested",
        COMPRESSOR, "made 2025-01-03; in-service 2025-03-01", "2025-03-02",
        AIR, "2025-03-01 app-air-quality overdue", EN_12021),
    Row("a changed filter asks for a test",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2025-01-15; filter-change 2025-02-03",
        "2025-02-04", AIR, "2025-02-03 app-air-quality-after-change overdue", CHANGE),
    Row("tested after the change, three months again",
        COMPRESSOR, "made 2020-05-03; filter-change 2025-02-03; air-quality-test 2025-02-03",
        "2025-02-04", AIR, "2025-05-03 app-air-quality current", CHANGE),
)
# fmt: on


@table_of(*INSTRUMENTS_AND_AIR)
def test_what_measures_and_what_fills_is_proven_before_it_is_trusted(row: Row) -> None:
    check(row, RULES)


# fmt: off
IN_THE_WORKSHOP = (
    Row("water or oil inside asks for a look inside",
        CYLINDER, "made 2020-05-03; contamination 2025-02-03", "2025-02-04",
        INSIDE, "2025-02-03 app-cylinder-contaminated overdue", "common practice / " + DGUV_WET),
    Row("emptied altogether, it is dried",
        CYLINDER, "made 2020-05-03; emptied 2025-02-03", "2025-02-04",
        DRYING, "2025-02-03 app-cylinder-emptied overdue", DGUV_WET),
    Row("dried, nothing is left to do",
        CYLINDER, "made 2020-05-03; emptied 2025-02-03; drying 2025-02-05", "2025-02-06",
        DRYING, NOTHING, DGUV_WET),
    Row("nothing in this table is a retest",
        CYLINDER, "made 2001-05-03", "2025-02-06",
        "hydrostatic-retest", NOTHING, "the cylinder tables hold the retests"),
)
# fmt: on


@table_of(*IN_THE_WORKSHOP)
def test_a_cylinder_in_the_workshop_is_kept_dry_and_clean(row: Row) -> None:
    check(row, RULES)


def test_every_row_of_the_general_table_is_argued_for_above() -> None:
    tables = (MONTHS, AFTER_USE, MASK_TESTS, HALF_YEARS, RENEWALS, INSTRUMENTS_AND_AIR)
    assert {rule.id for rule in RULES} == governing(*tables, IN_THE_WORKSHOP)
