"""What the rows of fixtures/published can't hold: countings, comparisons of tables, arithmetic.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. A slash in a source parts two of them.
"""

from datetime import date, timedelta

import pytest

from registry.cells.pure.days import day, month_or_day
from registry.cells.pure.values import ValueProblem
from servicing.due.pure.obligations import Item, Record, obligations
from servicing.ledger.pure.history import KnownItem, read_history
from servicing.rules.pure.durations import Duration, add
from servicing.rules.pure.rule import Condition, Level, OneOf, Rule
from tests.published.cases import (
    Described,
    Row,
    answer,
    check,
    every_cylinder,
    longest_retest,
    rules_of,
    table_of,
)

UK, FINLAND = rules_of("united-kingdom"), rules_of("finland")
AUSTRALIA, NEW_ZEALAND, CANADA = rules_of("australia"), rules_of("new-zealand"), rules_of("canada")
US, EUROPE, GERMANY = rules_of("us-cylinders"), rules_of("iso-en-cylinders"), rules_of("germany")
SEA, MAKERS = rules_of("sea"), rules_of("makers-instructions")
HT_STAMPS = ("DOT-3HT", "ICC-3HT", "CTC-3HT", "TC-3HTM")
FIVE_YEARS = ("spain", "poland", "norway", "netherlands")
TEN_YEARS = ("france", "austria", "italy")

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
TEN = "MSC.1/Circ.1432 (2012), as told by a training house: steel ten years"
HT_LIFE = "49 CFR 180.205(i)(1)(v): 24 years or 4380 pressurisations, whichever first"
LIGHT = "49 CFR 180.209(a), Table 1, line 3HT: three years"
TABLE_1 = "49 CFR 180.209(a), Table 1"
UN = "49 CFR 180.207(c), Table 1"
P200 = "ADR 2025 P200 (3)(d), note: five years for composites"
HT: Described = CYLINDER | {"specification": "DOT-3HT", "construction": "type-1"}


@pytest.mark.parametrize(
    "rules",
    [UK, FINLAND, AUSTRALIA, NEW_ZEALAND, CANADA],
    ids=["united-kingdom", "finland", "australia", "new-zealand", "canada"],
)
def test_no_national_table_leaves_a_cylinder_without_a_date_or_past_five_years(
    rules: tuple[Rule, ...],
) -> None:
    assert max(longest_retest(rules).values()) == date(2029, 1, 1), f"{ISO}; {UK_FIVE}"


@pytest.mark.parametrize("table", FIVE_YEARS)
def test_where_the_law_says_five_years_no_cylinder_has_more(table: str) -> None:
    assert max(longest_retest(rules_of(table)).values()) == date(2029, 1, 1), (
        "the facts of the table"
    )


@pytest.mark.parametrize("table", TEN_YEARS)
def test_where_the_law_allows_ten_years_no_cylinder_is_without_a_date(table: str) -> None:
    assert max(longest_retest(rules_of(table)).values()) == date(2034, 1, 1), (
        "the facts of the table"
    )
    both = (*rules_of(table), *EUROPE)
    assert max(longest_retest(both).values()) == date(2029, 1, 1), ISO


def test_in_japan_no_cylinder_has_more_than_five_years_from_the_month_before() -> None:
    # Made in January 2024: from 31 December 2023, that day counted (Civil Code, article 143(2)).
    for cylinder in every_cylinder(rules_of("japan")):
        due = tasks_of(cylinder, rules_of("japan"))["hydrostatic-retest"]
        if cylinder.get("construction") != "type-1":
            latest = date(2026, 12, 30)
        elif cylinder.get("specification") in HT_STAMPS:
            latest = date(2027, 1, 1)
        else:
            latest = date(2028, 12, 30)
        assert due == latest, f"container safety rules, article 24: {cylinder}"


def test_in_france_whatever_may_not_be_of_metal_has_two_years() -> None:
    for cylinder in every_cylinder(rules_of("france")):
        due = tasks_of(cylinder, rules_of("france"))["hydrostatic-retest"]
        if cylinder.get("construction") != "type-1":
            assert due == date(2026, 1, 1), f"arrêté of 20-11-2017, article 18 I: {cylinder}"


COMPOSITE = "made 2016-05-20; hydrostatic-retest 2021-06-15"


# fmt: off
ONE_CYLINDER = (
    ("iso-en-cylinders", WRAPPED, "2026-06-15 adr-cyl-composite",
        "ADR 2025 P200 (3)(d), note: five years for composites"),
    ("germany", WRAPPED, "2026-05-31 de-cyl-strength",
        "BetrSichV annex 2 part 4, line 7.6 a) / section 14(5): 26 days late, from the old date"),
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
    ("iso-en-cylinders germany", STEEL, "2026-05-31 de-cyl-strength",
        "BetrSichV annex 2 part 4, line 7.6 a) / section 14(5): the earlier of two goes first"),
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
    for name, said in (
        ("germany", "2026-05-31 de-cyl-strength current"),
        ("united-kingdom", "2026-06-15 uk-cyl-retest current"),
        ("sea", "2026-06-15 sea-cyl-five-years current"),
        ("australia", "2026-06-15 au-cyl-retest current"),
    ):
        check(row._replace(answer=said), rules_of(name))


def test_due_by_june_and_asked_in_july_it_is_overdue_wherever_it_stands() -> None:
    for name, said in (
        ("germany", "2026-05-31 de-cyl-strength"),
        ("united-kingdom", "2026-06-15 uk-cyl-retest"),
        ("australia", "2026-06-15 au-cyl-retest"),
        ("sea", "2026-06-15 sea-cyl-five-years"),
    ):
        row = Row(
            "charged in May",
            STEEL,
            f"{COMPOSITE}; fill 2026-05-04",
            "2026-07-01",
            HYDRO,
            f"{said} overdue",
            "ADR 4.1.6.10 (2019): not filled once due; carried to the test all the same",
        )
        check(row, rules_of(name))


def test_five_years_from_a_leap_day_are_kept_to_28_february_at_least() -> None:
    # COSHH reg. 9(4): a record is kept five years from the day it was made.
    assert add(date(2024, 2, 29), Duration.parse("P5Y")) == date(2029, 2, 28)


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


def test_the_outer_limit_of_transport_law_is_shown_and_does_not_govern() -> None:
    alone = tuple(rule for rule in EUROPE if rule.id == "adr-cyl-outer-limit")
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
    assert answer(row, EUROPE).startswith("2026-06-15"), ISO


FINNISH = Rule(
    id="local-finland",
    table="local",
    task=HYDRO,
    level=Level.LOCAL,
    when=Condition((("construction", OneOf(frozenset({"type-2", "type-3", "type-4"}))),)),
    every=Duration(36),
    source=TUKES,
    seen="secondary",
)


# fmt: off
IN_TUKES = (
    Row("three years in Finland, for composites",
        WRAPPED, "made 2016-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2024-06-15 local-finland current", TUKES),
    Row("and five for steel as before",
        STEEL, "made 2006-05-20; hydrostatic-retest 2021-06-15", "2023-11-25",
        HYDRO, "2026-06-15 iso-cyl-metal current", TUKES),
)
# fmt: on


@table_of(*IN_TUKES)
def test_a_stricter_country_is_a_local_rule_that_shortens(row: Row) -> None:
    check(row, (*EUROPE, FINNISH))


def filled_daily(times: int) -> list[Record]:
    """Return one filling a day from 1 January 2010 on."""
    return [Record("fill", date(2010, 1, 1) + timedelta(n), "pass") for n in range(times)]


def life_of_3ht(fillings: int, rules: tuple[Rule, ...] = US) -> tuple[str, date | None]:
    """Return the rule and the day that end the life of a 3HT made in December 2009."""
    owed = obligations(
        Item(HT, date(2009, 12, 15), None), filled_daily(fillings), rules, date(2022, 6, 1)
    )
    life = next(one for one in owed if one.task == LIFE)
    return life.rule.id, life.due_on


def test_3ht_ends_with_its_4380th_filling() -> None:
    # 4380 is one a day for 12 years of 365 days; three leap days bring it to 28 December 2021.
    assert life_of_3ht(4380) == ("us-cyl-3ht-fillings", date(2021, 12, 28)), HT_LIFE


def test_3ht_ends_with_the_same_filling_in_canada() -> None:
    assert life_of_3ht(4380, CANADA) == ("ca-cyl-3htm-fillings", date(2021, 12, 28)), B339
    assert life_of_3ht(4379, CANADA) == ("ca-cyl-3htm-life", date(2033, 12, 15)), B339


def test_3ht_with_one_filling_less_lives_its_24_years() -> None:
    assert life_of_3ht(4379) == ("us-cyl-3ht-life", date(2033, 12, 15)), HT_LIFE


def test_only_un_metal_goes_beyond_five_years_without_a_mark() -> None:
    longer = {stamp for stamp, due in longest_retest(US).items() if due > date(2029, 1, 31)}
    metal = {f"UN-ISO-9809-{part}" for part in (1, 2, 3, 4)} | {"UN-ISO-7866"}
    assert longer == metal, f"{TABLE_1}; {UN}"


def five_years_but_light_steel(rules: tuple[Rule, ...]) -> bool:
    """Say whether every stamp has five years at the longest, and US light steel its own three."""
    light = {"DOT-3HT", "ICC-3HT", "CTC-3HT", "TC-3HTM"}
    years = {stamp: due.year - 2024 for stamp, due in longest_retest(rules).items()}
    return years == {stamp: 3 if stamp in light else 5 for stamp in years} and light < years.keys()


def test_no_stamp_and_no_gap_in_the_register_gives_more_than_five_years() -> None:
    assert five_years_but_light_steel(EUROPE), f"{ISO}; {P200}; {LIGHT}"


def test_no_german_cylinder_has_more_than_five_years() -> None:
    line = "BetrSichV annex 2 part 4, table 12, line 7.6 a)"
    assert five_years_but_light_steel(GERMANY), f"{line}; {LIGHT}"


def test_what_no_maker_was_asked_is_called_practice() -> None:
    assert {(rule.level, rule.seen) for rule in MAKERS} == {(Level.MAKER, "practice")}


@pytest.mark.parametrize("mark", ["03/14", "3-14", "14-03", "03.14"])
def test_a_date_mark_that_can_be_read_in_two_ways_is_asked_for(mark: str) -> None:
    # UK instructor manual and AU test-centre note: YYYY/MM and MM/YY are both in use.
    for read in (day, month_or_day):
        with pytest.raises(ValueProblem, match="write"):
            read(mark)


def test_an_expiry_taken_for_a_test_is_refused_as_a_day_to_come() -> None:
    # A diving wiki: Germany stamps the expiry rather than the test on some cylinders.
    today = date(2026, 11, 25)
    rows, problems = read_history(
        "history.csv",
        b"tag,task,done_on,outcome,by,note\nC1,hydrostatic-retest,2028-06-01,pass,TUV,\n",
        items={"C1": KnownItem(date(2018, 6, 1), today, condemned_on=None)},
        tasks=frozenset({"hydrostatic-retest"}),
    )
    assert rows == []
    assert "future" in str(problems[0]) or "after" in str(problems[0])


CYLINDER_TABLES = {
    "us-cylinders": US,
    "iso-en-cylinders": EUROPE,
    "germany": GERMANY,
    "united-kingdom": UK,
    "finland": FINLAND,
    "australia": AUSTRALIA,
    "new-zealand": NEW_ZEALAND,
    "canada": CANADA,
    "sea": SEA,
    **{name: rules_of(name) for name in (*FIVE_YEARS, *TEN_YEARS, "japan")},
}
LIMITED_BY_THEIR_MARK = {
    "EN-12245",
    "EN-12257",
    *(f"ISO-11119-{part}" for part in (1, 2, 3, 4)),
}
"""Foreign composites: 49 CFR part 180 gives them no life but the one they are marked with."""
MADE = date(2024, 1, 1)


def tasks_of(cylinder: Described, rules: tuple[Rule, ...], *events: str) -> dict[str, date | None]:
    """Return what a cylinder made on 1 January 2024 owes in June, by task, after events in May."""
    happened = [Record(event, date(2024, 5, 1), "pass") for event in events]
    owed = obligations(Item(cylinder, MADE, None), happened, rules, date(2024, 6, 1))
    return {one.task: one.due_on for one in owed}


@pytest.mark.parametrize("table", ["us-cylinders", "canada"])
def test_whatever_may_be_wrapped_ends_after_fifteen_years(table: str) -> None:
    for cylinder in every_cylinder(CYLINDER_TABLES[table]):
        metal = cylinder.get("construction") == "type-1"
        wrapped = not metal and ("construction" in cylinder or "fibre" in cylinder)
        by_mark = table == "us-cylinders" and cylinder.get("specification") in LIMITED_BY_THEIR_MARK
        if wrapped and not by_mark:
            end = tasks_of(cylinder, CYLINDER_TABLES[table]).get(LIFE)
            assert end == date(2039, 1, 1), f"DOT notice 94-1; 180.207(a)(3); {B339}: {cylinder}"


@pytest.mark.parametrize("table", ["us-cylinders", "canada", "finland", "new-zealand"])
def test_nothing_known_of_a_cylinder_is_three_years(table: str) -> None:
    due = tasks_of({"kind": "cylinder"}, CYLINDER_TABLES[table])["hydrostatic-retest"]
    assert due in (date(2027, 1, 1), date(2027, 1, 31)), "the shortest period met in permits"


@pytest.mark.parametrize("table", ["iso-en-cylinders", "united-kingdom", "germany"])
def test_whatever_may_be_of_metal_is_looked_into(table: str) -> None:
    for cylinder in every_cylinder(CYLINDER_TABLES[table]):
        stamp = str(cylinder.get("specification", ""))
        composite = "11119" in stamp or stamp in ("EN-12245", "EN-12257", "DOT-CFFC")
        if cylinder.get("construction") == "type-1" or (
            "construction" not in cylinder and not composite
        ):
            assert "internal-inspection" in tasks_of(cylinder, CYLINDER_TABLES[table]), (
                f"{ISO}: {cylinder}"
            )


@pytest.mark.parametrize(
    "event", ["impact", "damage", "overheating", "corrosion-found", "leak-found"]
)
@pytest.mark.parametrize("table", CYLINDER_TABLES)
def test_what_may_have_weakened_a_cylinder_asks_for_a_look_at_once(table: str, event: str) -> None:
    for cylinder in every_cylinder(CYLINDER_TABLES[table]):
        due = tasks_of(cylinder, CYLINDER_TABLES[table], event).values()
        assert date(2024, 5, 1) in due, f"49 CFR 180.205(d); ADR 4.1.6.11; practice: {cylinder}"
