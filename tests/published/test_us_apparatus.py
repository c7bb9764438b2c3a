"""The table us-apparatus against 29 CFR 1910.134 and what is told of NFPA standards.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from tests.published.cases import NOTHING, Described, Row, check, governing, rules_of, table_of

RULES = rules_of("us-apparatus")

MONTHLY, CLEANING, TEST = "periodic-inspection", "cleaning", "functional-test"
LEAK, FLOW, AIR, FILTER = "tightness-test", "flow-test", "air-quality-test", "filter-change"

SET: Described = {"kind": "set"}
MASK: Described = {"kind": "mask"}
VALVE: Described = {"kind": "demand-valve"}
CYLINDER: Described = {"kind": "cylinder"}
COMPRESSOR: Described = {"kind": "compressor"}
STAFFED: Described = {"marks": frozenset({"full-time"})}

EMERGENCY = "29 CFR 1910.134(h)(3)(i)(B): emergency use at least monthly, and after each use"
SCBA = "29 CFR 1910.134(h)(3)(iii): SCBA monthly; cylinders kept fully charged"
MAINE = "26 MRS 2105 (Maine): weekly in full-time departments, monthly in others"
CLEAN = "29 CFR 1910.134(h)(1)(iii): after each use"
FIT = "29 CFR 1910.134(h)(1)(iv): after each use in fit testing and training"
WASHED = "29 CFR 1910.134(h)(3)(i)(A): inspected during cleaning"
NFPA_FLOW = "NFPA 1852, as told by a service house: before service and at least yearly"
NFPA_REPAIR = "NFPA 1852: flow test after repair (from memory)"
NFPA_AIR = "NFPA 1989, as told by three pages: quarterly"
NFPA_CHANGE = "NFPA 1989, as told by test houses: after filter changes, on suspicion"
TAG = "29 CFR 1910.134(i)(5)(iv): a tag with the last change; the year is common practice"


# fmt: off
ROUNDS = (
    Row("done on any day of January, due by the last of February",
        SET, "made 2020-05-03; in-service 2020-06-01; periodic-inspection 2025-01-03",
        "2025-02-10", MONTHLY, "2025-02-28 us-app-monthly current", EMERGENCY + " / " + SCBA),
    Row("missed in February, overdue on 1 March",
        MASK, "made 2020-05-03; periodic-inspection 2025-01-31", "2025-03-01",
        MONTHLY, "2025-02-28 us-app-monthly overdue", EMERGENCY),
    Row("put into service in May and never inspected, due by the end of June",
        VALVE, "made 2024-11-03; in-service 2025-05-02", "2025-06-20",
        MONTHLY, "2025-06-30 us-app-monthly due-soon", EMERGENCY),
    Row("a cylinder too, for its charge",
        CYLINDER, "made 2020-05-03; periodic-inspection 2025-01-03", "2025-02-10",
        MONTHLY, "2025-02-28 us-app-monthly-cylinder current", SCBA),
    Row("where a station is always staffed, weekly",
        SET | STAFFED, "made 2020-05-03; periodic-inspection 2025-01-27", "2025-01-31",
        MONTHLY, "2025-02-03 us-app-weekly current", MAINE),
    Row("a week across the end of February",
        SET | STAFFED, "made 2020-05-03; periodic-inspection 2024-02-26", "2024-03-05",
        MONTHLY, "2024-03-04 us-app-weekly overdue", MAINE),
    Row("a compressor is no respirator",
        COMPRESSOR, "made 2020-05-03", "2025-02-10", MONTHLY, NOTHING, EMERGENCY),
    Row("flow is measured once a year",
        SET, "made 2020-05-03; flow-test 2024-06-30", "2025-05-25",
        FLOW, "2025-06-30 us-app-flow-test current", NFPA_FLOW),
    Row("and before the set goes into service",
        SET, "made 2025-01-03; in-service 2025-03-01", "2025-03-02",
        FLOW, "2025-03-01 us-app-flow-test overdue", NFPA_FLOW),
)
# fmt: on


@table_of(*ROUNDS)
def test_rounds_are_made_monthly_and_flow_is_measured_yearly(row: Row) -> None:
    check(row, RULES)


# fmt: off
AFTER_USE = (
    Row("cleaned after use",
        MASK, "made 2020-05-03; cleaning 2025-01-10; use 2025-03-02", "2025-03-03",
        CLEANING, "2025-03-02 us-app-when-used-cleaning overdue", CLEAN),
    Row("a training day is a use",
        MASK, "made 2020-05-03; use 2025-03-02; cleaning 2025-03-02; use 2025-03-02",
        "2025-03-02", CLEANING, "2025-03-02 us-app-when-used-cleaning due-soon", FIT),
    Row("nobody used it, nothing is to be cleaned",
        MASK, "made 2020-05-03; cleaning 2023-01-10", "2025-03-03", CLEANING, NOTHING,
        "29 CFR 1910.134(h)(1)(i): as often as needed; no period"),
    Row("its function is tried after use",
        VALVE, "made 2020-05-03; functional-test 2025-01-10; use 2025-03-02", "2025-03-03",
        TEST, "2025-03-02 us-app-when-used-function overdue", EMERGENCY),
    Row("an overhaul ends with that",
        VALVE, "made 2020-05-03; use 2025-03-02; overhaul 2025-03-05", "2025-03-06",
        TEST, NOTHING, EMERGENCY),
    Row("a mask is tried for leaks after use",
        MASK, "made 2020-05-03; tightness-test 2025-01-10; use 2025-03-02", "2025-03-03",
        LEAK, "2025-03-02 us-app-when-used-mask overdue", EMERGENCY),
    Row("cleaned after its inspection, it is inspected again",
        MASK, "made 2020-05-03; periodic-inspection 2025-03-01; cleaning 2025-03-02",
        "2025-03-03", MONTHLY, "2025-03-02 us-app-when-cleaned overdue", WASHED),
    Row("cleaned and then inspected on one day, it has its month",
        MASK, "made 2020-05-03; cleaning 2025-03-02; periodic-inspection 2025-03-02",
        "2025-03-03", MONTHLY, "2025-04-30 us-app-monthly current", WASHED),
    Row("a failed inspection stands under the row of the month",
        MASK, "made 2020-05-03; periodic-inspection 2025-02-10; periodic-inspection 2025-03-02"
        " fail", "2025-03-03", MONTHLY, "2025-03-02 us-app-monthly overdue", EMERGENCY),
    Row("flow is measured after a repair",
        SET, "made 2020-05-03; flow-test 2025-01-10; repair 2025-03-02", "2025-03-03",
        FLOW, "2025-03-02 us-app-when-repaired overdue", NFPA_REPAIR),
)
# fmt: on


@table_of(*AFTER_USE)
def test_a_used_respirator_is_cleaned_and_tried(row: Row) -> None:
    check(row, RULES)


# fmt: off
COMPRESSORS = (
    Row("three months to the day",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2025-01-15", "2025-03-25",
        AIR, "2025-04-15 us-app-air-quarterly current", NFPA_AIR),
    Row("early in one quarter and late in the next is too late",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2025-01-02", "2025-06-20",
        AIR, "2025-04-02 us-app-air-quarterly overdue", NFPA_AIR),
    Row("nobody fills from a compressor that was never tested",
        COMPRESSOR, "made 2025-01-03; in-service 2025-03-01", "2025-03-02",
        AIR, "2025-03-01 us-app-air-quarterly overdue", NFPA_AIR),
    Row("a changed filter asks for a sample",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2025-01-15; filter-change 2025-02-03",
        "2025-02-04", AIR, "2025-02-03 us-app-when-changed-air overdue", NFPA_CHANGE),
    Row("the filter itself, a year after its tag at the latest",
        COMPRESSOR, "made 2020-05-03; filter-change 2024-02-29", "2025-01-15",
        FILTER, "2025-02-28 us-app-filter current", TAG),
    Row("no tag, no filling",
        COMPRESSOR, "made 2025-01-03; in-service 2025-03-01", "2025-03-02",
        FILTER, "2025-03-01 us-app-filter overdue", TAG),
)
# fmt: on


@table_of(*COMPRESSORS)
def test_air_and_filters_are_dated(row: Row) -> None:
    check(row, RULES)


def test_every_row_of_the_us_apparatus_table_is_argued_for_above() -> None:
    assert {rule.id for rule in RULES} == governing(ROUNDS, AFTER_USE, COMPRESSORS)
