"""The tables of the United Kingdom, Finland, Australia, New Zealand and Canada.

And the trap they are there for: one cylinder, many countries, and a date for each. Where a
source is a rule and not a worked number, the day was worked out by hand from that rule. A
slash in a source parts two of them.
"""

from datetime import date

import pytest

from servicing.rules.pure.durations import Duration, add
from servicing.rules.pure.rule import Rule
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

UK, FINLAND = rules_of("united-kingdom"), rules_of("finland")
AUSTRALIA, NEW_ZEALAND, CANADA = rules_of("australia"), rules_of("new-zealand"), rules_of("canada")

HYDRO, INSIDE, OUTSIDE = "hydrostatic-retest", "internal-inspection", "external-inspection"
LIFE, MONTHLY, CLEANING = "service-life", "periodic-inspection", "cleaning"
AIR, SERVICE, STATION = "air-quality-test", "yearly-service", "filling-station-inspection"

CYLINDER: Described = {"kind": "cylinder"}
STEEL: Described = CYLINDER | {"specification": "EN-1964-1", "construction": "type-1"}
WRAPPED: Described = CYLINDER | {
    "specification": "EN-12245",
    "construction": "type-3",
    "fibre": "carbon",
}
PERMIT: Described = WRAPPED | {"specification": "DOT-SP"}
TC_CARBON: Described = WRAPPED | {"specification": "TC-3CCM"}
MONTHS_30: Described = {"marks": frozenset({"internal-30-months"})}
LIFE_15: Described = {"design_life_years": 15}
SET: Described = {"kind": "set"}
VALVE: Described = {"kind": "demand-valve"}
COMPRESSOR: Described = {"kind": "compressor"}

COSHH = "COSHH reg. 9(3) / L5 (2013) para 181: a month"
L5_LIMIT = "L5 (2013): longer for what is seldom used, never over three months"
UK_AIR = "HSG53 / BS EN 12021:2014 annex: at least every three months"
UK_CHANGE = "BS EN 12021:2014 annex: after any change / L5 (2013) para 180"
UK_FIVE = "UK practice (a brigade, an Irish test house): five years, any material"
ISO = "ISO 18119:2018, informative annex: breathing air, inside 1 year, pressure 5 years"
ISO_30 = "ISO 18119:2018, informative annex: at most 2.5 years after a risk assessment"
COUPLED = "a UK diving club's manual (2017): a late look inside leaves the test where it was"
DAMAGED = "common practice: retest before the next filling"
TUKES = "Tukes release of 16 February 2015: composites for breathing apparatus 3 years"
TUKES_LIFE = "Tukes release of 16 February 2015: expired is not used, though it would pass"
TUKES_USE = "Tukes release of 16 February 2015: looked at after use"
TUKES_STATION = "Tukes, page on use and maintenance: before it starts and every six years"
AU_FIVE = "AS 2030 / AS 2337, as told by a test house: breathing sets five years"
AU_THREE = "AS 2030 / AS 2337, as told by a test house: US composites three years"
RECEIPT = "AS 2337.3:2020 cl. 4: due at a filler's receipt; emergency sets within the interval"
AU_LIFE = "AS 2337.3:2020 cl. 4-5: not refilled at the end of its design life"
AU_SERVICE = "a service house on makers and AS/NZS 1715:2009 9.1: yearly"
NZ = "a New Zealand test station's table: air 5, aluminium with fibre 3 years"
B339 = "CSA B339/B340 (from memory): 5 years; older glass and aramid 3; life 15"
CA_DAMAGE = "SOR/2010-120 s. 142(4): out of service until a test proves it"
Z94 = "CSA Z94.4-02, as told by a checklist: monthly and after each use"
Z180 = "CSA Z180.1-M85, 4.3.8, as quoted by New Brunswick: every six months at least"
MANITOBA = "MR 217/2006 6.16(2), as told: after any major modification or repair"


# fmt: off
BRITISH = (
    Row("inspected on 31 January, due by 28 February",
        SET, "made 2020-05-03; periodic-inspection 2025-01-31", "2025-02-10",
        MONTHLY, "2025-02-28 uk-monthly current", COSHH),
    Row("and then by 31 March: the 31st is not lost",
        SET, "made 2020-05-03; periodic-inspection 2025-01-31; periodic-inspection 2025-02-28",
        "2025-03-10", MONTHLY, "2025-03-31 uk-monthly current", COSHH),
    Row("air every three months",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2024-11-30", "2025-01-25",
        AIR, "2025-02-28 uk-air-quality current", UK_AIR),
    Row("and when the compressor has moved",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2025-01-15; relocation 2025-02-03",
        "2025-02-04", AIR, "2025-02-03 uk-air-when-changed overdue", UK_CHANGE),
    Row("a cylinder has five years",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 uk-cyl-retest current", UK_FIVE),
    Row("a metal one is looked into each year",
        STEEL, "made 2016-05-20; internal-inspection 2024-12-02", "2025-11-25",
        INSIDE, "2025-12-02 uk-cyl-inside due-soon", ISO),
    Row("also one whose construction nobody entered",
        CYLINDER, "made 2016-05-20; internal-inspection 2024-12-02", "2025-11-25",
        INSIDE, "2025-12-02 uk-cyl-inside due-soon", ISO),
    Row("a composite is not",
        WRAPPED, "made 2016-05-20", "2025-11-25", INSIDE, NOTHING,
        "ISO 18119:2018, cl. 1: not for composites"),
    Row("a look inside in January 2025 leaves the test of January 2021 due in January 2026",
        STEEL | MONTHS_30,
        "made 2006-05-20; hydrostatic-retest 2021-01-18; internal-inspection 2025-01-20",
        "2025-09-25", HYDRO, "2026-01-18 uk-cyl-retest current", COUPLED),
    Row("and is itself due again in July 2027",
        STEEL | MONTHS_30,
        "made 2006-05-20; hydrostatic-retest 2021-01-18; internal-inspection 2025-01-20",
        "2025-09-25", INSIDE, "2027-07-20 uk-cyl-inside-30-months current", ISO_30),
    Row("thirty months from 31 August end on the last of February",
        STEEL | MONTHS_30, "made 2006-05-20; internal-inspection 2023-08-31", "2025-11-25",
        INSIDE, "2026-02-28 uk-cyl-inside-30-months current", ISO_30),
    Row("a marked life ends it",
        WRAPPED | LIFE_15, "made 2011-06-14; hydrostatic-retest 2021-07-05", "2025-11-25",
        LIFE, "2026-06-14 uk-cyl-marked-life due-soon", AU_LIFE),
    Row("a blow asks for a test",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15; impact 2025-10-01",
        "2025-11-25", HYDRO, "2025-10-01 uk-cyl-when-damaged overdue", DAMAGED),
)
# fmt: on


@table_of(*BRITISH)
def test_the_united_kingdom_asks_for_a_month_and_five_years(row: Row) -> None:
    check(row, UK)


def test_the_three_months_of_the_code_are_shown_and_do_not_govern() -> None:
    alone = tuple(rule for rule in UK if rule.id == "uk-outer-limit")
    row = Row(
        "seldom used, by the outer limit alone",
        SET | {"marks": frozenset({"seldom-used"})},
        "made 2020-05-03; periodic-inspection 2025-01-31",
        "2025-03-10",
        MONTHLY,
        "2025-04-30 uk-outer-limit current",
        L5_LIMIT,
    )
    check(row, alone)
    check(row._replace(answer="2025-02-28 uk-monthly overdue"), UK)


# fmt: off
FINNISH = (
    Row("a composite has three years",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 fi-cyl-composite current", TUKES),
    Row("so has a cylinder whose construction nobody entered",
        CYLINDER, "made 2022-05-20", "2023-11-25",
        HYDRO, "2025-05-20 fi-cyl-composite current", TUKES),
    Row("steel has five, for want of a Finnish figure",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2026-06-15 fi-cyl-metal current", ISO),
    Row("made in August 1999 with fifteen years, it ended in August 2014, test or no test",
        WRAPPED | LIFE_15, "made 1999-08-01; hydrostatic-retest 2013-06-15", "2015-02-16",
        LIFE, "2014-08-01 fi-cyl-marked-life overdue", TUKES_LIFE),
    Row("and no retest is shown",
        WRAPPED | LIFE_15, "made 1999-08-01; hydrostatic-retest 2013-06-15", "2015-02-16",
        HYDRO, NOTHING, TUKES_LIFE),
    Row("after use it is looked at",
        WRAPPED, "made 2022-05-20; use 2023-10-01", "2023-11-25",
        OUTSIDE, "2023-10-01 fi-cyl-when-used overdue", TUKES_USE),
    Row("after a fall it is tested",
        WRAPPED, "made 2022-05-20; impact 2023-10-01", "2023-11-25",
        HYDRO, "2023-10-01 fi-cyl-when-damaged overdue", DAMAGED),
    Row("a filling station is assessed before it starts",
        COMPRESSOR, "made 2024-01-03; in-service 2024-03-01", "2024-03-02",
        STATION, "2024-03-01 fi-filling-station overdue", TUKES_STATION),
    Row("and every six years",
        COMPRESSOR, "made 2019-01-03; filling-station-inspection 2019-03-01", "2024-08-25",
        STATION, "2025-03-01 fi-filling-station current", TUKES_STATION),
)
# fmt: on


@table_of(*FINNISH)
def test_finland_gives_composites_three_years(row: Row) -> None:
    check(row, FINLAND)


# fmt: off
AUSTRALIAN = (
    Row("five years for breathing sets",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 au-cyl-retest current", AU_FIVE),
    Row("charged in a store and due in June, it is overdue before a filler sees it in September",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15; fill 2026-05-04", "2026-09-01",
        HYDRO, "2026-06-15 au-cyl-retest overdue", RECEIPT),
    Row("three for a composite of US design",
        PERMIT, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 au-cyl-us-composite current", AU_THREE),
    Row("all metal, it has five",
        PERMIT | {"construction": "type-1"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2026-06-15 au-cyl-retest current", AU_FIVE),
    Row("the design life ends it",
        WRAPPED | LIFE_15, "made 2011-06-14; hydrostatic-retest 2021-07-05", "2025-11-25",
        LIFE, "2026-06-14 au-cyl-marked-life due-soon", AU_LIFE),
    Row("heat asks for a test",
        WRAPPED, "made 2022-05-20; overheating 2023-10-01", "2023-11-25",
        HYDRO, "2023-10-01 au-cyl-when-damaged overdue", DAMAGED),
    Row("the set is serviced each year",
        SET, "made 2022-05-20; in-service 2022-06-01; yearly-service 2023-02-28", "2023-11-25",
        SERVICE, "2024-02-28 au-yearly-service current", AU_SERVICE),
)
NEW_ZEALANDERS = (
    Row("three years with fibre around aluminium",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 nz-cyl-composite current", NZ),
    Row("three also where nobody entered the construction",
        CYLINDER, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 nz-cyl-composite current", NZ),
    Row("five for metal",
        STEEL, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2026-06-15 nz-cyl-air current", NZ),
    Row("a marked life ends it",
        WRAPPED | LIFE_15, "made 2011-06-14; hydrostatic-retest 2023-07-05", "2025-11-25",
        LIFE, "2026-06-14 nz-cyl-marked-life due-soon", AU_LIFE),
    Row("damage asks for a test",
        STEEL, "made 2022-05-20; damage 2023-10-01", "2023-11-25",
        HYDRO, "2023-10-01 nz-cyl-when-damaged overdue", DAMAGED),
)
# fmt: on


@table_of(*AUSTRALIAN)
def test_australia_counts_by_the_stamp_and_not_by_the_filler(row: Row) -> None:
    check(row, AUSTRALIA)


@table_of(*NEW_ZEALANDERS)
def test_new_zealand_gives_composites_three_years(row: Row) -> None:
    check(row, NEW_ZEALAND)


# fmt: off
CANADIAN = (
    Row("full carbon has five years",
        TC_CARBON, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2025-11-25",
        HYDRO, "2026-06-15 ca-cyl-retest current", B339),
    Row("aramid has three",
        TC_CARBON | {"fibre": "aramid"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2024-06-15 ca-cyl-composite-not-carbon current", B339),
    Row("so has a fibre nobody entered",
        CYLINDER | {"construction": "type-4"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2024-06-15 ca-cyl-composite-not-carbon current", B339),
    Row("and hoop wrapping, carbon or not",
        TC_CARBON | {"construction": "type-2"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2024-06-15 ca-cyl-composite-hoop current", B339),
    Row("a stamp alone has three",
        CYLINDER | {"specification": "TC-3CCM"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2024-06-15 ca-cyl-build-unknown current", B339),
    Row("unless it is the stamp of a metal one",
        CYLINDER | {"specification": "TC-3AAM"}, "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2026-06-15 ca-cyl-retest current", B339),
    Row("light steel has three",
        CYLINDER | {"specification": "TC-3HTM", "construction": "type-1"},
        "made 2016-05-20; hydrostatic-retest 2021-06-15",
        "2023-11-25", HYDRO, "2024-06-15 ca-cyl-3htm current", B339),
    Row("fifteen years are the life of a composite",
        TC_CARBON, "made 2011-06-14; hydrostatic-retest 2021-07-05", "2025-11-25",
        LIFE, "2026-06-14 ca-cyl-composite-life due-soon", B339),
    Row("also of one known by its stamp",
        CYLINDER | {"specification": "TC-3FCM"}, "made 2011-06-14", "2025-01-25",
        LIFE, "2026-06-14 ca-cyl-composite-life-by-stamp current", B339),
    Row("a shorter mark ends it sooner",
        TC_CARBON | {"design_life_years": 10}, "made 2016-06-14", "2025-11-25",
        LIFE, "2026-06-14 ca-cyl-marked-life due-soon", B339),
    Row("a blow asks for a test",
        TC_CARBON, "made 2022-05-20; impact 2023-10-01", "2023-11-25",
        HYDRO, "2023-10-01 ca-cyl-when-damaged overdue", CA_DAMAGE),
    Row("sets are inspected each month",
        SET, "made 2020-05-03; periodic-inspection 2024-12-01", "2025-01-05",
        MONTHLY, "2025-01-31 ca-monthly current", Z94),
    Row("and after use",
        SET, "made 2020-05-03; periodic-inspection 2024-12-01; use 2024-12-05", "2024-12-06",
        MONTHLY, "2024-12-05 ca-when-used overdue", Z94),
    Row("and cleaned",
        VALVE, "made 2020-05-03; use 2024-12-05", "2024-12-06",
        CLEANING, "2024-12-05 ca-when-used-cleaning overdue", Z94),
    Row("air is tested every six months",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2024-08-31", "2025-01-25",
        AIR, "2025-02-28 ca-air current", Z180),
    Row("and after a repair",
        COMPRESSOR, "made 2020-05-03; air-quality-test 2024-08-31; repair 2024-12-05",
        "2024-12-06", AIR, "2024-12-05 ca-air-when-changed overdue", MANITOBA),
)
# fmt: on


@table_of(*CANADIAN)
def test_canada_asks_what_its_standards_are_remembered_to_ask(row: Row) -> None:
    check(row, CANADA)


@pytest.mark.parametrize(
    ("rules", "tables", "beside"),
    [
        (UK, (BRITISH,), {"uk-outer-limit"}),
        (FINLAND, (FINNISH,), set[str]()),
        (AUSTRALIA, (AUSTRALIAN,), set[str]()),
        (NEW_ZEALAND, (NEW_ZEALANDERS,), set[str]()),
        (CANADA, (CANADIAN,), set[str]()),
    ],
    ids=["united-kingdom", "finland", "australia", "new-zealand", "canada"],
)
def test_every_row_of_a_national_table_is_argued_for_above(
    rules: tuple[Rule, ...], tables: tuple[tuple[Row, ...], ...], beside: set[str]
) -> None:
    assert {rule.id for rule in rules} == governing(*tables) | beside


@pytest.mark.parametrize(
    "rules",
    [UK, FINLAND, AUSTRALIA, NEW_ZEALAND, CANADA],
    ids=["united-kingdom", "finland", "australia", "new-zealand", "canada"],
)
def test_no_national_table_leaves_a_cylinder_without_a_date_or_past_five_years(
    rules: tuple[Rule, ...],
) -> None:
    assert max(longest_retest(rules).values()) == date(2029, 1, 1), f"{ISO}; {UK_FIVE}"


COMPOSITE = "made 2016-05-20; hydrostatic-retest 2021-06-15"


# fmt: off
ONE_CYLINDER = (
    ("iso-en-cylinders", WRAPPED, "2026-06-15 adr-cyl-composite",
        "ADR 2025 P200 (3)(d), note: five years for composites"),
    ("germany", WRAPPED, "2026-06-15 de-cyl-strength", "BetrSichV annex 2 part 4, line 7.6 a)"),
    ("finland", WRAPPED, "2024-06-15 fi-cyl-composite", TUKES),
    ("united-kingdom", WRAPPED, "2026-06-15 uk-cyl-retest", UK_FIVE),
    ("australia", WRAPPED, "2026-06-15 au-cyl-retest", AU_FIVE),
    ("new-zealand", WRAPPED, "2024-06-15 nz-cyl-composite", NZ),
    ("canada", WRAPPED, "2026-06-15 ca-cyl-retest", B339),
    ("sea", WRAPPED, "2026-06-15 sea-cyl-five-years", "a flag state: 5 years, any material"),
    ("us-cylinders", WRAPPED, "2026-06-30 us-cyl-foreign", "49 CFR 180.209(a), foreign cylinders"),
    ("us-cylinders", PERMIT, "2026-06-30 us-cyl-permit-carbon", "full carbon 5 years, by month"),
    ("australia", PERMIT, "2024-06-15 au-cyl-us-composite", AU_THREE),
    ("iso-en-cylinders finland", WRAPPED, "2024-06-15 fi-cyl-composite", TUKES),
    ("iso-en-cylinders finland", STEEL, "2026-06-15 fi-cyl-metal", ISO + ": both rows say so"),
    ("iso-en-cylinders germany", STEEL, "2026-06-15 de-cyl-strength",
        "BetrSichV annex 2 part 4, line 7.6 a): law before standard on one day"),
    ("us-cylinders canada", TC_CARBON | {"fibre": "glass"},
        "2024-06-15 ca-cyl-composite-not-carbon", B339),
)
# fmt: on


@pytest.mark.parametrize(
    ("adopted", "item", "due", "source"), ONE_CYLINDER, ids=[one[2] for one in ONE_CYLINDER]
)
def test_one_cylinder_has_the_date_of_the_country_that_adopted_the_table(
    adopted: str, item: Described, due: str, source: str
) -> None:
    rules = [rule for name in adopted.split() for rule in rules_of(name)]
    row = Row(adopted, item, COMPOSITE, "2023-11-25", HYDRO, f"{due} current", source)
    check(row, rules)


def test_transport_law_alone_would_let_steel_run_five_years_longer_than_any_country() -> None:
    alone = tuple(r for r in rules_of("iso-en-cylinders") if r.id == "adr-cyl-outer-limit")
    row = Row(
        "steel tested in June 2021",
        STEEL,
        COMPOSITE,
        "2023-11-25",
        HYDRO,
        "2031-06-15 adr-cyl-outer-limit current",
        "ADR P200, table 1, UN 1002: ten years (two pages agree)",
    )
    check(row, alone)
    for name, answer in (
        ("germany", "2026-06-15 de-cyl-strength current"),
        ("united-kingdom", "2026-06-15 uk-cyl-retest current"),
        ("sea", "2026-06-15 sea-cyl-five-years current"),
        ("australia", "2026-06-15 au-cyl-retest current"),
    ):
        check(row._replace(answer=answer), rules_of(name))


def test_due_in_june_and_asked_in_july_it_is_overdue_wherever_it_stands() -> None:
    for name, rule in (
        ("germany", "de-cyl-strength"),
        ("united-kingdom", "uk-cyl-retest"),
        ("australia", "au-cyl-retest"),
        ("sea", "sea-cyl-five-years"),
    ):
        row = Row(
            "charged in May",
            STEEL,
            f"{COMPOSITE}; fill 2026-05-04",
            "2026-07-01",
            HYDRO,
            f"2026-06-15 {rule} overdue",
            "ADR 4.1.6.10 (2019): not filled once due; carried to the test all the same",
        )
        check(row, rules_of(name))


def test_five_years_from_a_leap_day_are_kept_to_28_february_at_least() -> None:
    # COSHH reg. 9(4): a record is kept five years from the day it was made.
    assert add(date(2024, 2, 29), Duration.parse("P5Y")) == date(2029, 2, 28)
