"""The table us-cylinders against 49 CFR part 180 and the agency's letters.

Where a source is a rule and not a worked number, the day was worked out by hand from that
rule. Clauses are those of the 2015 edition; a slash in a source parts two of them.
"""

from datetime import date, timedelta

from servicing.due.pure.obligations import Item, Record, obligations
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

RULES = rules_of("us-cylinders")

HYDRO, LIFE, NECK = "hydrostatic-retest", "service-life", "neck-crack-examination"

CYLINDER: Described = {"kind": "cylinder"}
AL: Described = CYLINDER | {"specification": "DOT-3AL", "construction": "type-1"}
AA: Described = CYLINDER | {"specification": "DOT-3AA", "construction": "type-1"}
HT: Described = CYLINDER | {"specification": "DOT-3HT", "construction": "type-1"}
STAR: Described = {"marks": frozenset({"star"})}
PERMIT: Described = CYLINDER | {"specification": "DOT-SP"}
TYPE_1, TYPE_2 = {"construction": "type-1"}, {"construction": "type-2"}
TYPE_3, TYPE_4 = {"construction": "type-3"}, {"construction": "type-4"}
CARBON, GLASS, ARAMID = {"fibre": "carbon"}, {"fibre": "glass"}, {"fibre": "aramid"}
UN_STEEL: Described = CYLINDER | {"specification": "UN-ISO-9809-1", "construction": "type-1"}
UN_WRAPPED: Described = CYLINDER | {"specification": "UN-ISO-11119-2", "construction": "type-3"}

MONTH = "49 CFR 180.205(c): during or before the month and year in which it is due"
MARK = "49 CFR 180.213(d): a mark is a month and a year"
LETTER_17 = "letter 17-0094 (2017-12-11), the dates of the question, answered by 180.205(c)"
TABLE_1 = "49 CFR 180.209(a), Table 1"
STARRED = "49 CFR 180.209(b)(1) / letter 16-0147 (2017-03-03)"
STAR_LOST = "letter 09-0236 (2011-03-28): five years from the marked date"
PERMITS = "49 CFR 180.205(c) / a state fire academy's list: hoop, glass, aramid 3, carbon 5"
METAL_PERMITS = "49 CFR 180.205(c) / a state fire academy's list: all metal 5, no fixed life"
NOTICE = "DOT notice 94-1 (15 February 1994): 15 years"
STATED = "49 CFR 180.205(c): not filled after a stated service life"
HT_LIFE = "49 CFR 180.205(i)(1)(v): 24 years or 4380 pressurisations, whichever first"
UN = "49 CFR 180.207(c), Table 1"
UN_LIFE = "49 CFR 180.207(a)(3)"
EARLY = "49 CFR 180.205(d)"
HEAT = "49 CFR 180.205(i)(1)(viii): overheated aluminium is condemned"
EDDY = "49 CFR 180.205(f)(4)"
CONDEMNED = "49 CFR 180.203: a condemned cylinder can't be restored by any procedure"


# fmt: off
MONTHS = (
    Row("aluminium tested in May 2020 is good through 31 May 2025",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12", "2024-11-25",
        HYDRO, "2025-05-31 us-cyl-3al current", MONTH),
    Row("tested on the first of May it is good through the same day",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-01", "2025-05-31",
        HYDRO, "2025-05-31 us-cyl-3al due-soon", MONTH),
    Row("tested on the last of May it is overdue from 1 June",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-31", "2025-06-01",
        HYDRO, "2025-05-31 us-cyl-3al overdue", MONTH),
    Row("steel tested on 15 September 2012 may be tested until 30 September 2017",
        AA, "made 2002-09-01; hydrostatic-retest 2012-09-15", "2017-09-30",
        HYDRO, "2017-09-30 us-cyl-3a-3aa due-soon", LETTER_17),
    Row("and no longer on 1 October",
        AA, "made 2002-09-01; hydrostatic-retest 2012-09-15", "2017-10-01",
        HYDRO, "2017-09-30 us-cyl-3a-3aa overdue", LETTER_17),
    Row("February 2019 lasts until the leap day of 2024",
        AA, "made 1999-02-01; hydrostatic-retest 2019-02-11", "2024-02-29",
        HYDRO, "2024-02-29 us-cyl-3a-3aa due-soon", MONTH),
    Row("February 2020 lasts until 28 February 2025",
        AA, "made 2000-02-01; hydrostatic-retest 2020-02-29", "2025-02-28",
        HYDRO, "2025-02-28 us-cyl-3a-3aa due-soon", MONTH),
    Row("three years from November 2024 end with November 2027",
        HT, "made 2015-11-02; hydrostatic-retest 2024-11-08", "2026-11-25",
        HYDRO, "2027-11-30 us-cyl-3ht current", TABLE_1),
    Row("ten years from June 2016 end with June 2026",
        UN_STEEL, "made 2006-06-01; hydrostatic-retest 2016-06-17", "2026-06-30",
        HYDRO, "2026-06-30 us-cyl-un-metal due-soon", UN + " / 180.207(a)(2)"),
    Row("9 [A1/32] 06 is September 2006",
        AA, "made 1996-09-01; hydrostatic-retest 2006-09-01", "2010-11-25",
        HYDRO, "2011-09-30 us-cyl-3a-3aa current", MARK),
    Row("a test before its time starts the period at the new mark, nothing is credited",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; hydrostatic-retest 2024-01-20",
        "2024-11-25", HYDRO, "2029-01-31 us-cyl-3al current", MARK),
    Row("a new cylinder counts from the month of its original test",
        AL, "made 2020-06-01", "2024-11-25",
        HYDRO, "2025-06-30 us-cyl-3al current", MONTH),
    Row("putting it into service later moves nothing",
        AL, "made 2020-06-01; in-service 2022-03-01", "2024-11-25",
        HYDRO, "2025-06-30 us-cyl-3al current", MONTH),
    Row("a cylinder without any date is undetermined and not fine",
        AL, "", "2024-11-25",
        HYDRO, "unknown us-cyl-3al undetermined", MARK),
    Row("tested again after it fell due, it counts from the late test",
        AL, "made 2010-05-03; hydrostatic-retest 2015-05-12; hydrostatic-retest 2022-08-02",
        "2024-11-25", HYDRO, "2027-08-31 us-cyl-3al current", MONTH),
    Row("a test that failed leaves it due on that day",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; hydrostatic-retest 2024-11-05 fail",
        "2024-11-25", HYDRO, "2024-11-05 us-cyl-3al overdue", "49 CFR 180.205(h): rejected"),
    Row("a failed composite is due by its own row and not by that of some event",
        PERMIT | TYPE_3 | CARBON,
        "made 2018-03-05; hydrostatic-retest 2023-03-09; hydrostatic-retest 2024-11-05 fail",
        "2024-11-25", HYDRO, "2024-11-05 us-cyl-permit-carbon overdue",
        "49 CFR 180.205(h): rejected"),
    Row("a cylinder that was condemned is never due again",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12 condemned", "2024-11-25",
        HYDRO, NOTHING, CONDEMNED),
)
# fmt: on


@table_of(*MONTHS)
def test_a_us_cylinder_is_good_through_the_month_in_which_it_falls_due(row: Row) -> None:
    check(row, RULES)


# fmt: off
STARS = (
    Row("steel with a star has ten years",
        AA | STAR, "made 1996-03-01; hydrostatic-retest 2016-03-22", "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-3a-3aa-star current", STARRED),
    Row("the star gone, five years from the old mark may be over at once",
        AA, "made 1996-03-01; hydrostatic-retest 2016-03-22", "2024-11-25",
        HYDRO, "2021-03-31 us-cyl-3a-3aa overdue", STAR_LOST),
    Row("a plus buys pressure and no time",
        AA | {"marks": frozenset({"plus"})}, "made 1996-03-01; hydrostatic-retest 2020-03-22",
        "2024-11-25", HYDRO, "2025-03-31 us-cyl-3a-3aa current", TABLE_1),
    Row("plus and star together have ten years",
        AA | {"marks": frozenset({"plus", "star"})},
        "made 1996-03-01; hydrostatic-retest 2020-03-22",
        "2024-11-25", HYDRO, "2030-03-31 us-cyl-3a-3aa-star current", STARRED),
    Row("a star on aluminium buys nothing",
        AL | STAR, "made 2010-05-03; hydrostatic-retest 2020-05-12", "2024-11-25",
        HYDRO, "2025-05-31 us-cyl-3al current", "49 CFR 180.209(b)(1): 3A and 3AA only"),
    Row("a star on a permit cylinder buys nothing",
        PERMIT | TYPE_3 | CARBON | STAR, "made 2019-05-03; hydrostatic-retest 2024-05-12",
        "2024-11-25", HYDRO, "2029-05-31 us-cyl-permit-carbon current",
        "49 CFR 180.209(b)(1): 3A and 3AA only"),
    Row("a star on sixty litres buys nothing",
        AA | STAR | {"water_capacity_l": 60}, "made 1996-03-01; hydrostatic-retest 2020-03-22",
        "2024-11-25", HYDRO, "2025-03-31 us-cyl-3a-3aa-star-large current",
        "49 CFR 180.209(b)(1): at most 125 lb of water, about 56.7 l (from memory)"),
    Row("a star on seven litres stands",
        AA | STAR | {"water_capacity_l": 7}, "made 1996-03-01; hydrostatic-retest 2020-03-22",
        "2024-11-25", HYDRO, "2030-03-31 us-cyl-3a-3aa-star current", STARRED),
)
# fmt: on


@table_of(*STARS)
def test_a_star_gives_ten_years_only_to_the_steel_it_is_meant_for(row: Row) -> None:
    check(row, RULES)


TESTED = "made 2018-03-05; hydrostatic-retest 2023-03-09"


# fmt: off
PERIODS = (
    Row("3 has five years", CYLINDER | {"specification": "DOT-3"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3 current", TABLE_1),
    Row("3A has five years", CYLINDER | {"specification": "DOT-3A"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3a-3aa current", TABLE_1),
    Row("3AX has five years", CYLINDER | {"specification": "DOT-3AX"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3ax-3aax current", TABLE_1),
    Row("3AAX has five years", CYLINDER | {"specification": "DOT-3AAX"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3ax-3aax current", TABLE_1),
    Row("3T has five years", CYLINDER | {"specification": "DOT-3T"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3t current", TABLE_1),
    Row("3B has five years where the table says five or ten",
        CYLINDER | {"specification": "DOT-3B"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-3b-3bn current", TABLE_1),
    Row("3HT has three years", HT, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-3ht current", TABLE_1),
    Row("the Canadian stamp of the same steel has no longer period",
        CYLINDER | {"specification": "TC-3HTM"}, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-3ht current", TABLE_1),
    Row("UN steel has ten years", UN_STEEL, TESTED, "2024-11-25",
        HYDRO, "2033-03-31 us-cyl-un-metal current", UN),
    Row("UN aluminium has ten years",
        CYLINDER | {"specification": "UN-ISO-7866"}, TESTED, "2024-11-25",
        HYDRO, "2033-03-31 us-cyl-un-metal current", UN),
    Row("a UN composite has five years", UN_WRAPPED, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-un-composite current", UN),
    Row("a foreign cylinder has five years",
        CYLINDER | {"specification": "EN-1964-1", "construction": "type-1"}, TESTED,
        "2024-11-25", HYDRO, "2028-03-31 us-cyl-foreign current", TABLE_1 + ", last line"),
    Row("a cylinder whose stamp nobody entered has five years and not none",
        CYLINDER, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-foreign current", TABLE_1 + ", last line"),
    Row("full carbon on metal has five years",
        PERMIT | TYPE_3 | CARBON, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-permit-carbon current", PERMITS),
    Row("full carbon on plastic has five years",
        PERMIT | TYPE_4 | CARBON, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-permit-carbon current", PERMITS),
    Row("an exemption cylinder is a permit cylinder",
        CYLINDER | TYPE_3 | CARBON | {"specification": "DOT-E"}, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-permit-carbon current", TABLE_1),
    Row("full glass has three years",
        PERMIT | TYPE_3 | GLASS, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-permit-glass-aramid current", PERMITS),
    Row("full aramid has three years",
        PERMIT | TYPE_3 | ARAMID, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-permit-glass-aramid current", PERMITS),
    Row("hoop wrapped has three years, carbon or not",
        PERMIT | TYPE_2 | CARBON, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-permit-hoop current", PERMITS),
    Row("a fibre nobody entered has three years",
        PERMIT | TYPE_3, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-permit-fibre-unknown current", PERMITS),
    Row("a construction nobody entered has three years",
        PERMIT | CARBON, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-permit-build-unknown current", PERMITS),
    Row("an all-metal permit cylinder has five years",
        PERMIT | TYPE_1, TESTED, "2024-11-25",
        HYDRO, "2028-03-31 us-cyl-permit-metal current", METAL_PERMITS),
    Row("a wrapped cylinder with a stamp the table does not know has three years",
        CYLINDER | TYPE_3 | CARBON | {"specification": "DOT-SP 99999"}, TESTED, "2024-11-25",
        HYDRO, "2026-03-31 us-cyl-composite-unlisted current", PERMITS),
)
# fmt: on


@table_of(*PERIODS)
def test_a_us_cylinder_has_the_period_of_its_specification(row: Row) -> None:
    check(row, RULES)


OLD_CARBON = "made 2011-06-14; hydrostatic-retest 2016-06-20; hydrostatic-retest 2021-07-05"


# fmt: off
LIVES = (
    Row("fifteen years from June 2011 end before the test of July 2026",
        PERMIT | TYPE_3 | CARBON, OLD_CARBON, "2026-01-15",
        LIFE, "2026-06-14 us-cyl-composite-life due-soon", NOTICE),
    Row("a test that the life forestalls is not shown",
        PERMIT | TYPE_3 | CARBON, OLD_CARBON, "2026-01-15",
        HYDRO, NOTHING, NOTICE),
    Row("a life known to the month ends on its first day, never later than the truth",
        PERMIT | TYPE_3 | CARBON, "made 2011-06-01; hydrostatic-retest 2021-07-05",
        "2026-06-02", LIFE, "2026-06-01 us-cyl-composite-life overdue", NOTICE),
    Row("a plastic liner lives no longer",
        PERMIT | TYPE_4 | CARBON, "made 2011-06-14", "2024-11-25",
        LIFE, "2026-06-14 us-cyl-composite-life current", NOTICE),
    Row("a permit cylinder of unknown construction is taken for a composite",
        PERMIT, "made 2011-06-14", "2024-11-25",
        LIFE, "2026-06-14 us-cyl-permit-build-unknown-life current", NOTICE),
    Row("a wrapped cylinder with an unknown stamp has the same life",
        CYLINDER | TYPE_3 | {"specification": "DOT-SP 99999"}, "made 2011-06-14", "2024-11-25",
        LIFE, "2026-06-14 us-cyl-composite-life current", NOTICE),
    Row("an all-metal permit cylinder has no fixed life",
        PERMIT | TYPE_1, "made 1991-06-14; hydrostatic-retest 2021-07-05", "2024-11-25",
        LIFE, NOTHING, METAL_PERMITS),
    Row("steel has no fixed life",
        AA, "made 1951-06-14; hydrostatic-retest 2021-07-05", "2024-11-25",
        LIFE, NOTHING, METAL_PERMITS),
    Row("a composite whose made date nobody knows is undetermined, whatever its test",
        PERMIT | TYPE_3 | CARBON, "hydrostatic-retest 2021-07-05", "2024-11-25",
        LIFE, "unknown us-cyl-composite-life undetermined", NOTICE),
    Row("a UN composite has fifteen years",
        UN_WRAPPED, "made 2010-03-10; hydrostatic-retest 2020-06-17", "2024-11-25",
        LIFE, "2025-03-10 us-cyl-un-composite-life due-soon", UN_LIFE),
    Row("a shorter life on the mark ends it sooner",
        UN_WRAPPED | {"design_life_years": 10}, "made 2016-06-10", "2024-11-25",
        LIFE, "2026-06-10 us-cyl-marked-life current", STATED),
    Row("a longer life on the mark of a permit cylinder does not help",
        PERMIT | TYPE_3 | CARBON | {"design_life_years": 30}, "made 2011-06-14", "2024-11-25",
        LIFE, "2026-06-14 us-cyl-composite-life current", NOTICE),
    Row("3HT lives 24 years",
        HT, "made 2000-11-15; hydrostatic-retest 2023-02-06", "2024-11-16",
        LIFE, "2024-11-15 us-cyl-3ht-life overdue", HT_LIFE),
    Row("and its test of February 2026 is not shown",
        HT, "made 2000-11-15; hydrostatic-retest 2023-02-06", "2024-11-16",
        HYDRO, NOTHING, HT_LIFE),
)
# fmt: on


@table_of(*LIVES)
def test_the_life_of_a_us_cylinder_ends_before_its_test_does(row: Row) -> None:
    check(row, RULES)


# fmt: off
EVENTS = (
    Row("a blow makes it due on that day",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; impact 2024-05-03", "2024-05-03",
        HYDRO, "2024-05-03 us-cyl-when-struck due-soon", EARLY + "(2)"),
    Row("and overdue on the next",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; impact 2024-05-03", "2024-05-04",
        HYDRO, "2024-05-03 us-cyl-when-struck overdue", EARLY + "(2)"),
    Row("a test after the blow starts a full period",
        AL, "made 2010-05-03; impact 2024-05-03; hydrostatic-retest 2024-05-20", "2024-11-25",
        HYDRO, "2029-05-31 us-cyl-3al current", EARLY + "(2)"),
    Row("a test of the same day before the blow does not help",
        AL, "made 2010-05-03; hydrostatic-retest 2024-05-03; impact 2024-05-03", "2024-11-25",
        HYDRO, "2024-05-03 us-cyl-when-struck overdue", EARLY + "(2)"),
    Row("the first of two blows says since when",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; impact 2024-05-03; impact 2024-06-01",
        "2024-11-25", HYDRO, "2024-05-03 us-cyl-when-struck overdue", EARLY + "(2)"),
    Row("an older due date is not made younger by a blow",
        AL, "made 2010-05-03; hydrostatic-retest 2015-05-12; impact 2024-05-03", "2024-11-25",
        HYDRO, "2020-05-31 us-cyl-3al overdue", MONTH),
    Row("dents, corrosion and leaks make it due",
        AA, "made 1999-05-03; hydrostatic-retest 2022-05-12; corrosion-found 2024-07-01",
        "2024-11-25", HYDRO, "2024-07-01 us-cyl-when-damaged overdue", EARLY + "(1)"),
    Row("overheated steel is tested again",
        AA, "made 1999-05-03; hydrostatic-retest 2022-05-12; overheating 2024-07-01",
        "2024-11-25", HYDRO, "2024-07-01 us-cyl-when-overheated overdue", EARLY + "(3)"),
    Row("overheated steel does not end its life",
        AA, "made 1999-05-03; hydrostatic-retest 2022-05-12; overheating 2024-07-01",
        "2024-11-25", LIFE, NOTHING, EARLY + "(3)"),
    Row("an overheated metal-lined composite is at its end",
        PERMIT | TYPE_3 | CARBON, "made 2020-05-03; overheating 2024-07-01", "2024-11-25",
        LIFE, "2024-07-01 us-cyl-overheated-metal-lined overdue", HEAT),
    Row("and has no retest date at all",
        PERMIT | TYPE_3 | CARBON, "made 2020-05-03; overheating 2024-07-01", "2024-11-25",
        HYDRO, NOTHING, HEAT),
    Row("a test after the heat does not bring it back",
        PERMIT | TYPE_3 | CARBON,
        "made 2018-05-03; overheating 2024-07-01; hydrostatic-retest 2024-08-01",
        "2024-11-25", LIFE, "2024-07-01 us-cyl-overheated-metal-lined overdue", HEAT),
    Row("overheated aluminium is at its end",
        AL, "made 2010-05-03; hydrostatic-retest 2020-05-12; overheating 2024-07-01",
        "2024-11-25", LIFE, "2024-07-01 us-cyl-overheated-3al overdue", HEAT),
    Row("an overheated permit cylinder of unknown construction is at its end",
        PERMIT, "made 2018-05-03; overheating 2024-07-01", "2024-11-25",
        LIFE, "2024-07-01 us-cyl-overheated-permit overdue", HEAT),
    Row("an overheated plastic liner is tested again",
        PERMIT | TYPE_4 | CARBON, "made 2020-05-03; overheating 2024-07-01", "2024-11-25",
        HYDRO, "2024-07-01 us-cyl-when-overheated overdue", EARLY + "(3)"),
    Row("a corrosive liquid inside asks for everything again",
        AA, "made 1999-05-03; hydrostatic-retest 2022-05-12; class-8-contents 2024-07-01",
        "2024-11-25", HYDRO, "2024-07-01 us-cyl-when-class-8 overdue", "49 CFR 180.205(e)"),
)
# fmt: on


@table_of(*EVENTS)
def test_what_happened_to_a_us_cylinder_comes_before_its_date(row: Row) -> None:
    check(row, RULES)


OLD_ALLOY: Described = AL | {"marks": frozenset({"6351"})}


# fmt: off
NECK_CRACKS = (
    Row("the old alloy is looked at for cracks every five years",
        OLD_ALLOY, "made 1990-05-03; neck-crack-examination 2020-05-12", "2024-11-25",
        NECK, "2025-05-31 us-cyl-3al-6351-neck current", EDDY),
    Row("a pressure test does not stand in for it",
        OLD_ALLOY, "made 1990-05-03; neck-crack-examination 2015-05-12;"
        " hydrostatic-retest 2020-05-12", "2024-11-25",
        NECK, "2020-05-31 us-cyl-3al-6351-neck overdue", EDDY),
    Row("nor it for a pressure test",
        OLD_ALLOY, "made 1990-05-03; hydrostatic-retest 2015-05-12;"
        " neck-crack-examination 2020-05-12", "2024-11-25",
        HYDRO, "2020-05-31 us-cyl-3al overdue", EDDY),
    Row("the newer alloy is not asked for it",
        AL, "made 1990-05-03", "2024-11-25", NECK, NOTHING, EDDY + ": alloy 6351-T6 only"),
)
# fmt: on


@table_of(*NECK_CRACKS)
def test_old_aluminium_is_searched_for_neck_cracks(row: Row) -> None:
    check(row, RULES)


def filled_daily(times: int) -> list[Record]:
    """Return one filling a day from 1 January 2010 on."""
    return [Record("fill", date(2010, 1, 1) + timedelta(n), "pass") for n in range(times)]


def life_of_3ht(fillings: int) -> tuple[str, date | None]:
    """Return the rule and the day that end the life of a 3HT made in December 2009."""
    owed = obligations(
        Item(HT, date(2009, 12, 15), None), filled_daily(fillings), RULES, date(2022, 6, 1)
    )
    life = next(one for one in owed if one.task == LIFE)
    return life.rule.id, life.due_on


def test_3ht_ends_with_its_4380th_filling() -> None:
    # 4380 is one a day for 12 years of 365 days; three leap days bring it to 28 December 2021.
    assert life_of_3ht(4380) == ("us-cyl-3ht-fillings", date(2021, 12, 28)), HT_LIFE


def test_3ht_with_one_filling_less_lives_its_24_years() -> None:
    assert life_of_3ht(4379) == ("us-cyl-3ht-life", date(2033, 12, 15)), HT_LIFE


def test_every_row_of_the_us_table_is_argued_for_above() -> None:
    argued = governing(MONTHS, STARS, PERIODS, LIVES, EVENTS, NECK_CRACKS)
    assert {rule.id for rule in RULES} == argued | {"us-cyl-3ht-fillings"}


def test_only_un_metal_goes_beyond_five_years_without_a_mark() -> None:
    longer = {stamp for stamp, due in longest_retest(RULES).items() if due > date(2029, 1, 31)}
    metal = {f"UN-ISO-9809-{part}" for part in (1, 2, 3, 4)} | {"UN-ISO-7866"}
    assert longer == metal, f"{TABLE_1}; {UN}"
