"""The tables sea and makers-instructions: IMO guidelines, flag states, the custom of makers.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from servicing.rules.pure.rule import Level
from tests.published.cases import NOTHING, Described, Row, check, governing, rules_of, table_of

SEA, MAKERS = rules_of("sea"), rules_of("makers-instructions")

HYDRO, OUTSIDE, LIFE = "hydrostatic-retest", "external-inspection", "service-life"
LEAK, TEST, AIR, SERVICE = "tightness-test", "functional-test", "air-quality-test", "yearly-service"
DISC, DIAPHRAGM, OVERHAUL = "disc-renewal", "diaphragm-renewal", "overhaul"

CYLINDER: Described = {"kind": "cylinder"}
STEEL: Described = CYLINDER | {"construction": "type-1"}
WRAPPED: Described = CYLINDER | {"construction": "type-3"}
SET: Described = {"kind": "set"}
TANKER: Described = SET | {"marks": frozenset({"tanker"})}
BATTERY: Described = {"marks": frozenset({"battery"})}
REDUCER: Described = {"kind": "reducer"}
VALVE: Described = {"kind": "demand-valve"}
MASK: Described = {"kind": "mask"}
COMPRESSOR: Described = {"kind": "compressor"}

WEEKLY = "MSC.1/Circ.1432 para 4.5, as told: gauges weekly"
YEARLY = "MSC.1/Circ.1432 para 7.8, as told: masks, demand valves, recharging air yearly"
CODES = "IBC/IGC 14.2.6, BCH 3.16.8, as told: monthly by an officer, yearly by shore service"
FLAG = "a flag state's help page: five years, any material"
TEN = "MSC.1/Circ.1432 (2012), as told by a training house: steel ten years"
MGN = "MGN 374 amendment 1 (2023), 1.3: outside yearly, by a competent person"
MARK = "AS 2337.3:2020 cl. 4-5: not refilled at the end of its design life"
DAMAGED = "common practice: retest before the next filling"
CUSTOM = "common practice of makers"


# fmt: off
ON_BOARD = (
    Row("the gauge is looked at every week",
        SET, "made 2020-05-03; in-service 2020-06-01; pressure-check 2025-02-24", "2025-02-27",
        "pressure-check", "2025-03-03 sea-weekly-pressure current", WEEKLY),
    Row("an inspection is no look at the gauge, nor the other way round",
        SET, "made 2020-05-03; pressure-check 2025-02-24; periodic-inspection 2025-02-26",
        "2025-03-04", "pressure-check", "2025-03-03 sea-weekly-pressure overdue", WEEKLY),
    Row("on a tanker an officer inspects every month",
        TANKER, "made 2020-05-03; periodic-inspection 2025-01-31", "2025-02-05",
        "periodic-inspection", "2025-02-28 sea-tanker-monthly current", CODES),
    Row("on other ships the circular asks no month",
        SET, "made 2020-05-03", "2025-02-05", "periodic-inspection", NOTHING, CODES),
    Row("and shore service comes every year",
        TANKER, "made 2020-05-03; yearly-service 2024-06-30", "2025-02-05",
        SERVICE, "2025-06-30 sea-tanker-yearly current", CODES),
    Row("masks yearly",
        MASK, "made 2020-05-03; tightness-test 2024-06-30", "2025-02-05",
        LEAK, "2025-06-30 sea-yearly-mask current", YEARLY),
    Row("demand valves yearly",
        VALVE, "made 2020-05-03; functional-test 2024-06-30", "2025-02-05",
        TEST, "2025-06-30 sea-yearly-demand-valve current", YEARLY),
    Row("recharging air yearly",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2024-06-30", "2025-02-05",
        AIR, "2025-06-30 sea-yearly-air current", YEARLY),
    Row("steel has five years and not ten",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 sea-cyl-five-years current", FLAG),
    Row("the outside is looked at every year",
        WRAPPED, "made 2016-05-20; external-inspection 2025-01-15", "2025-11-25",
        OUTSIDE, "2026-01-15 sea-cyl-outside current", MGN),
    Row("a marked life ends it",
        WRAPPED | {"design_life_years": 15}, "made 2011-06-14", "2025-11-25",
        LIFE, "2026-06-14 sea-cyl-marked-life due-soon", MARK),
    Row("a blow asks for a test",
        STEEL, "made 2022-05-20; impact 2023-10-01", "2023-11-25",
        HYDRO, "2023-10-01 sea-cyl-when-damaged overdue", DAMAGED),
)
# fmt: on


@table_of(*ON_BOARD)
def test_on_ships_the_gauge_is_read_weekly_and_the_cylinder_tested_at_five_years(row: Row) -> None:
    check(row, SEA)


def test_the_ten_years_of_the_circular_are_shown_and_do_not_govern() -> None:
    alone = tuple(rule for rule in SEA if rule.id == "sea-cyl-ten-years")
    row = Row(
        "steel by the circular alone",
        STEEL,
        "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2025-11-25",
        HYDRO,
        "2031-06-15 sea-cyl-ten-years current",
        TEN,
    )
    check(row, alone)


# fmt: off
BY_THE_MAKER = (
    Row("serviced every year",
        REDUCER, "made 2020-05-03; in-service 2020-06-01; yearly-service 2024-02-29", "2024-11-05",
        SERVICE, "2025-02-28 mk-yearly-service current", CUSTOM),
    Row("the gauge compared, as part of the service",
        SET, "made 2020-05-03; gauge-comparison 2023-06-30; yearly-service 2024-06-30",
        "2024-11-05", "gauge-comparison", "2025-06-30 mk-gauge-comparison current", CUSTOM),
    Row("the battery is not part of it",
        SET | BATTERY, "made 2020-05-03; battery-renewal 2023-12-30; yearly-service 2024-06-30",
        "2024-11-05", "battery-renewal", "2024-12-30 mk-battery current", CUSTOM),
    Row("and a set without one is not asked for it",
        SET, "made 2020-05-03", "2024-11-05", "battery-renewal", NOTHING, CUSTOM),
    Row("a cartridge after a year at the latest",
        COMPRESSOR, "made 2020-05-03; filter-change 2024-06-30", "2024-11-05",
        "filter-change", "2025-06-30 mk-compressor-filter current", CUSTOM),
    Row("oil too",
        COMPRESSOR, "made 2020-05-03; oil-change 2024-06-30", "2024-11-05",
        "oil-change", "2025-06-30 mk-compressor-oil current", CUSTOM),
    Row("a disc three years from its making",
        MASK, "made 2014-05-03; disc-renewal 2024-01-10 part 2022-09-15", "2024-11-05",
        DISC, "2025-09-15 mk-mask-disc current", CUSTOM),
    Row("the speech diaphragm six",
        MASK, "made 2020-05-03", "2024-11-05",
        DIAPHRAGM, "2026-05-03 mk-mask-speech-diaphragm current", CUSTOM),
    Row("the demand valve's three",
        VALVE, "made 2014-05-03; diaphragm-renewal 2024-01-10 part 2023-02-15", "2024-11-05",
        DIAPHRAGM, "2026-02-15 mk-valve-diaphragm current", CUSTOM),
    Row("the ring at the cylinder one",
        REDUCER, "made 2014-05-03; seal-renewal 2024-06-10", "2024-11-05",
        "seal-renewal", "2025-06-10 mk-connector-seal current", CUSTOM),
    Row("hoses ten",
        VALVE, "made 2014-05-03; hose-renewal 2020-06-10 part 2018-12-01", "2024-11-05",
        "hose-renewal", "2028-12-01 mk-hose current", CUSTOM),
    Row("overhauled after six years",
        REDUCER, "made 2014-05-03; overhaul 2020-04-20", "2025-10-25",
        OVERHAUL, "2026-04-20 mk-valve-overhaul current", CUSTOM),
    Row("the cylinder's valve with the retest, by a record of its own",
        CYLINDER, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2024-11-05",
        "valve-overhaul", "2021-05-20 mk-cylinder-valve overdue", CUSTOM),
    Row("a life that the maker gave",
        MASK | {"design_life_years": 12}, "made 2014-05-03", "2025-10-25",
        LIFE, "2026-05-03 mk-marked-life due-soon", CUSTOM),
    Row("heat ends in an overhaul",
        VALVE, "made 2014-05-03; overhaul 2020-04-20; overheating 2025-03-01", "2025-10-25",
        OVERHAUL, "2025-03-01 mk-when-overheated overdue", CUSTOM),
)
# fmt: on


@table_of(*BY_THE_MAKER)
def test_typical_makers_intervals_stand_in_until_the_makers_own_are_entered(row: Row) -> None:
    check(row, MAKERS)


def test_every_row_of_both_tables_is_argued_for_above() -> None:
    assert {rule.id for rule in SEA} == governing(ON_BOARD) | {"sea-cyl-ten-years"}
    assert {rule.id for rule in MAKERS} == governing(BY_THE_MAKER)


def test_what_no_maker_was_asked_is_called_practice() -> None:
    assert {(rule.level, rule.seen) for rule in MAKERS} == {(Level.MAKER, "practice")}
