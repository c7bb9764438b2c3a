"""A consignment out and back: who is in it, what came back, what the two make of it."""

import csv
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO, StringIO

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from openpyxl import Workbook

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.away.models import Consigned, Consignment
from servicing.away.queries import holding
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.standing import condemn, quarantine, withdraw
from servicing.due.queries.engine import explained, owed
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    add_cylinders,
    open_consignment,
    remove_cylinder,
    send,
    take_back,
)
from servicing.hydrostatic.actions.results import enter_results, settle
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.results import FIGURES, GIVEN, read_results
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    condemnations_waiting,
    consignments_listed,
    sent_of,
)
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import broken_links
from tests.people import signed_in
from tests.servicing.hydrostatic.away import (
    HOUSE,
    by_hand,
    cylinder,
    readings_of,
    result,
    sent_away,
)

RETEST = "hydrostatic-retest"
TESTED, FAILED, DISPUTED, REJECTED = 60, 17, 23, 41


@pytest.fixture
def fleet(station: Site) -> list[Item]:
    return [cylinder(station, f"{number:05d}") for number in range(1, 4)]


@pytest.fixture
def away(station: Site, fleet: list[Item], technician: User) -> Consignment:
    """Three cylinders that left ten days ago."""
    return sent_away(station, fleet, technician)


def standing(item: Item) -> str:
    return str(explained(item, today_at(item.site))[0].word)


def due_on(item: Item) -> date | None:
    today = today_at(item.site)
    return next(one.due_on for one in owed(item, today) if one.task == RETEST)


# Sixty out and back ------------------------------------------------------------------------


def row_of(number: int, given: dict[str, str], tested_on: date) -> dict[str, str]:
    """Return a row of the house's list: two fail, on one we come to another verdict."""
    filled = {
        "tested_on": tested_on.isoformat(),
        "method": "jacket",
        "outcome": "pass",
        "by": "R. Amble",
        "test_pressure_bar": "450",
        "held_s": "35",
        "total_ml": "62.0",
        "permanent_ml": "1.2",
        "mark": "FCT 7",
    }
    if number == FAILED:
        filled |= {"outcome": "condemn", "permanent_ml": "7.4", "reason": "over 5 %", "mark": ""}
    if number == REJECTED:
        filled = {k: filled[k] for k in ("tested_on", "by")}
        filled |= {"outcome": "reject", "method": "visual", "reason": "thread worn"}
    if number == DISPUTED:
        filled["permanent_ml"] = "3.11"  # 5.0161 %: a house that rounds calls it 5
    return {**given, **filled}


def as_csv(rows: list[dict[str, str]]) -> bytes:
    text = StringIO()
    writer = csv.DictWriter(text, [*GIVEN, *FIGURES])
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def as_workbook(rows: list[dict[str, str]]) -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    columns = [*GIVEN, *FIGURES]
    sheet.append(columns)
    for row in rows:
        sheet.append([row.get(column, "") for column in columns])
    file = BytesIO()
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_sixty_go_out_and_come_back_with_two_failures_and_one_disagreement(
    station: Site, technician: User, manager: User, kind: str
) -> None:
    items = [cylinder(station, f"{number:05d}") for number in range(1, TESTED + 1)]
    desk = signed_in(technician)
    begun = desk.post(
        reverse("consignment-add"),
        {
            "key": "k" * 32,
            "from_site": station.pk,
            "house": HOUSE,
            "tags": "\r\n".join(item.tag for item in items),
        },
    )
    assert begun.status_code == 302
    consignment = Consignment.objects.get()
    left = today_at(station) - timedelta(days=10)
    desk.post(reverse("consignment-move", args=[consignment.pk]), {"on": left.isoformat()})
    assert b"away since" in desk.get(items[0].get_absolute_url()).content

    sent = (
        desk.get(reverse("consignment-csv", args=[consignment.pk])).getvalue().decode("utf-8-sig")
    )
    given = list(csv.DictReader(StringIO(sent)))
    assert len(given) == TESTED
    assert given[0]["asked_pressure_bar"] == "450"
    assert given[0]["owner"] == "Valley service"
    rows = [row_of(n, row, left + timedelta(days=3)) for n, row in enumerate(given, start=1)]
    content = as_csv(rows) if kind == "csv" else as_workbook(rows)
    for _ in range(2):  # the same list again changes nothing
        taken = desk.post(
            reverse("consignment-results", args=[consignment.pk]),
            {"file": SimpleUploadedFile(f"results.{kind}", content)},
        )
        assert taken.status_code == 302

    assert Result.objects.count() == TESTED
    assert all(history_of(item).count() == 1 for item in items)
    words = [standing(item) for item in items]
    assert words.count("in-service") == TESTED - 3
    assert {words[n - 1] for n in (FAILED, REJECTED, DISPUTED)} == {"out-of-service"}
    tested_on = left + timedelta(days=3)
    assert due_on(items[0]) == tested_on.replace(year=tested_on.year + 5)
    disputed = Result.objects.get(consigned__item=items[DISPUTED - 1])
    assert (disputed.house_word, disputed.our_word) == ("pass", "condemn")
    assert disputed.open_question
    assert disputed.counts_as == "condemn"

    page = desk.get(consignment.get_absolute_url()).content.decode()
    assert "2 results wait for a manager: on 1 the house and our arithmetic disagree" in page
    assert "1 condemns a cylinder" in page
    assert "3 did not pass" in page
    assert "5.0161 %" in page
    assert desk.post(reverse("result-settle", args=[disputed.pk])).status_code == 403
    failed = Result.objects.get(consigned__item=items[FAILED - 1])
    path = reverse("result-settle", args=[failed.pk])
    assert "only a manager condemns" in signed_in(manager).get(path).content.decode()
    signed_in(manager).post(path, {"word": "condemn", "why": "7.4 of 62 mL stayed."})
    assert standing(items[FAILED - 1]) == "condemned"
    signed_in(manager).post(
        reverse("result-settle", args=[disputed.pk]),
        {"word": "pass", "why": "Design standard allows 10 %, certificate 4711 seen."},
    )
    disputed.refresh_from_db()
    assert disputed.counts_as == "pass"
    assert (disputed.house_word, disputed.our_word) == ("pass", "condemn"), "both stay"
    assert standing(items[DISPUTED - 1]) == "in-service"
    take_back(consignment=consignment, back_on=today_at(station))
    assert holding(items[0]) is None
    assert list(broken_links()) == []


# One by one --------------------------------------------------------------------------------


def test_a_cylinder_is_in_one_running_consignment_only(
    station: Site, away: Consignment, fleet: list[Item], technician: User
) -> None:
    with pytest.raises(ConsignmentRefused, match=f"00001 is in consignment {away.number} already"):
        open_consignment(
            from_site=station, house=HOUSE, items=fleet, user=technician, entry_key="two"
        )
    assert Consignment.objects.count() == 1
    other = open_consignment(
        from_site=station, house=HOUSE, items=[], user=technician, entry_key="two"
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        Consigned.objects.create(consignment=other, item=fleet[0])


def test_only_cylinders_that_are_not_condemned_go(
    *,
    station: Site,
    mask: Item,
    away: Consignment,
    fleet: list[Item],
    technician: User,
    manager: User,
) -> None:
    bad = result(fleet[0], word=Word.CONDEMN, permanent_ml=Decimal(9), reason="over")
    enter_results(consignment=away, results=[bad], user=manager)
    take_back(consignment=away, back_on=today_at(station))
    with pytest.raises(ConsignmentRefused, match=r"00123 is no cylinder\. 00001 is condemned"):
        open_consignment(
            from_site=station, house=HOUSE, items=[mask, fleet[0]], user=technician, entry_key="x"
        )


def test_begun_twice_by_one_form_it_is_one_consignment(
    station: Site, fleet: list[Item], technician: User
) -> None:
    made = [
        open_consignment(
            from_site=station, house=HOUSE, items=fleet, user=technician, entry_key="one"
        )
        for _ in range(2)
    ]
    assert made[0] == made[1]
    assert made[0].number == f"{made[0].made_at.year}-001"


def test_what_has_left_keeps_its_list(away: Consignment, station: Site, technician: User) -> None:
    with pytest.raises(ConsignmentRefused, match="has left"):
        add_cylinders(consignment=away, items=[cylinder(station, "00009")])
    row = away.cylinders.get(item__tag="00001")
    with pytest.raises(ConsignmentRefused, match="has left"):
        remove_cylinder(consigned=row)
    with pytest.raises(ConsignmentRefused, match="left on"):
        send(consignment=away, sent_on=today_at(station))


def test_days_that_cannot_be_are_refused(
    station: Site, fleet: list[Item], technician: User
) -> None:
    today = today_at(station)
    empty = open_consignment(
        from_site=station, house=HOUSE, items=[], user=technician, entry_key="one"
    )
    with pytest.raises(ConsignmentRefused, match="no cylinders"):
        send(consignment=empty, sent_on=today)
    add_cylinders(consignment=empty, items=fleet)
    with pytest.raises(ConsignmentRefused, match="in the future"):
        send(consignment=empty, sent_on=today + timedelta(days=1))
    with pytest.raises(ConsignmentRefused, match="being packed"):
        take_back(consignment=empty, back_on=today)
    send(consignment=empty, sent_on=today)
    with pytest.raises(ConsignmentRefused, match="it left on"):
        take_back(consignment=empty, back_on=today - timedelta(days=1))


def test_the_record_keeps_figures_both_verdicts_and_who(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0])], user=technician)
    record = history_of(fleet[0]).get()
    readings = readings_of(fleet[0])
    assert record.outcome == "pass"
    assert record.performed_by == f"R. Amble, {HOUSE}"
    assert readings["test pressure"] == "450 bar pass"
    assert readings["held"] == "30 s pass"
    assert readings["elastic expansion"] == "60.8 mL"
    assert readings["permanent of total"] == "1.9355 % pass"
    share = next(r for r in record.readings_as_read if r.name == "permanent of total")
    assert share.limit == "at most 5 %"
    assert share.source.startswith("ISO 18119")
    assert readings["house says"] == "pass"
    assert readings["we find"].startswith("pass: permanent 1.9355 % of total")
    assert readings["mark"] == "FCT 7"
    assert away.number in record.note


@pytest.mark.parametrize(
    ("changed", "house", "ours", "outcome"),
    [
        ({"permanent_ml": Decimal("3.11")}, "pass", "condemn", "fail"),
        ({"reached": Pressure.of(449, "bar")}, "pass", "reject", "fail"),
        ({"held_s": 29}, "pass", "reject", "fail"),
        ({"word": Word.REJECT, "reason": "valve seat"}, "reject", "pass", "fail"),
        ({"word": Word.CONDEMN, "reason": "dent"}, "condemn", "pass", "fail"),
        (
            {"word": Word.CONDEMN, "reason": "over", "permanent_ml": Decimal(9)},
            "condemn",
            "condemn",
            "fail",
        ),
    ],
)
def test_the_stricter_counts_and_a_disputed_condemnation_waits_as_a_fail(
    *,
    away: Consignment,
    fleet: list[Item],
    technician: User,
    changed: dict[str, object],
    house: str,
    ours: str,
    outcome: str,
) -> None:
    enter_results(consignment=away, results=[result(fleet[0], **changed)], user=technician)
    kept = Result.objects.get()
    assert (kept.house_word, kept.our_word) == (house, ours)
    assert kept.open_question is (house != ours or house == "condemn")
    assert history_of(fleet[0]).get().outcome == outcome


OVER = {"word": Word.CONDEMN, "reason": "over", "permanent_ml": Decimal(9)}


def test_a_condemnation_that_a_manager_enters_is_one_at_once(
    away: Consignment, fleet: list[Item], manager: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0], **OVER)], user=manager)
    assert not Result.objects.get().open_question
    assert standing(fleet[0]) == "condemned"


def test_a_condemnation_that_a_technician_enters_waits_for_a_manager(
    away: Consignment, fleet: list[Item], technician: User, manager: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0], **OVER)], user=technician)
    kept = Result.objects.get()
    assert readings_of(fleet[0])["condemnation"] == "waits for a fleet manager"
    assert standing(fleet[0]) == "out-of-service"
    waiting = condemnations_waiting()
    assert [(each.item, each.consignment) for each in waiting] == [(fleet[0], away)]
    take_back(consignment=away, back_on=today_at(fleet[0].site))
    with pytest.raises(ConsignmentRefused, match="waits for a fleet manager"):
        sent_away(fleet[0].site, [fleet[0]], technician, key="again")
    with pytest.raises(ConsignmentRefused, match="Only a fleet manager"):
        settle(result=kept, word=Word.CONDEMN, why="Mine.", user=technician)
    settle(result=kept, word=Word.CONDEMN, why="Figures checked.", user=manager)
    assert standing(fleet[0]) == "condemned"
    assert condemnations_waiting() == []


def test_condemned_on_its_own_page_the_question_is_settled_by_that_record(
    away: Consignment, fleet: list[Item], technician: User, manager: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0], **OVER)], user=technician)
    kept, desk = Result.objects.get(), signed_in(manager)
    settling = reverse("result-settle", args=[kept.pk])
    assert "1 result waits for a manager" in desk.get(away.get_absolute_url()).content.decode()
    by = condemn(item=fleet[0], reason="Figures seen.", user=manager, entry_key="own page")
    page = desk.get(away.get_absolute_url()).content.decode()
    assert "for a manager" not in page
    assert f"record {by.position}</a>: condemnation on" in page
    assert "Nothing is left to settle" in desk.get(settling).content.decode()
    with pytest.raises(ConsignmentRefused, match="Record 2 of 00001 has settled this already"):
        settle(result=kept, word=Word.CONDEMN, why="Again.", user=manager)
    assert desk.post(settling, {"word": "condemn", "why": "Again."}).status_code == 422
    assert history_of(fleet[0]).count() == 2
    assert condemnations_waiting() == []


def test_the_question_is_open_again_once_that_condemnation_is_undone(
    away: Consignment, fleet: list[Item], technician: User, manager: User, second_manager: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0], **OVER)], user=technician)
    by = condemn(item=fleet[0], reason="Figures seen.", user=manager, entry_key="own page")
    correct_record(
        record=by,
        service=None,
        reason="It was another cylinder.",
        user=manager,
        entry_key="undone",
        second=second_manager,
    )
    assert [each.item for each in condemnations_waiting()] == [fleet[0]]
    settle(result=Result.objects.get(), word=Word.PASS, why="Tested again.", user=manager)
    assert standing(fleet[0]) == "in-service"


@pytest.mark.parametrize("decide", [withdraw, quarantine])
@pytest.mark.parametrize("first", [True, False])
def test_taken_out_of_service_in_between_it_still_waits_and_can_be_settled(
    *,
    away: Consignment,
    fleet: list[Item],
    technician: User,
    manager: User,
    decide: Callable[..., object],
    first: bool,
) -> None:
    disputed = result(fleet[0], permanent_ml=Decimal("3.11"))

    def take_out() -> None:
        at_noon = time_machine.travel(now() - timedelta(days=9) * first, tick=False)
        with at_noon:
            decide(item=fleet[0], reason="Dropped.", user=technician, entry_key="out")

    if first:
        take_out()
    enter_results(consignment=away, results=[disputed], user=technician)
    if not first:
        take_out()
    assert [each.consignment for each in condemnations_waiting()] == [away]
    kept = Result.objects.get()
    page = signed_in(manager).get(reverse("result-settle", args=[kept.pk])).content.decode()
    assert "stays out until somebody returns it" in page
    settle(result=kept, word=Word.PASS, why="Certificate seen.", user=manager)
    assert condemnations_waiting() == []
    assert standing(fleet[0]) == "out-of-service", "until it is returned"


def test_a_retest_of_a_later_day_settles_what_was_disputed(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    short = result(fleet[0], held_s=29)
    enter_results(consignment=away, results=[short], user=technician)
    take_back(consignment=away, back_on=today_at(away.from_site) - timedelta(days=2))
    again = sent_away(away.from_site, [fleet[0]], technician, key="again")
    enter_results(
        consignment=again,
        results=[result(fleet[0], tested_on=today_at(away.from_site))],
        user=technician,
    )
    page = signed_in(technician).get(away.get_absolute_url()).content.decode()
    assert "settled by <a" in page
    assert "not settled" not in page


def test_nobody_waits_for_the_result_of_what_was_condemned_meanwhile(
    away: Consignment, fleet: list[Item], manager: User
) -> None:
    condemn(item=fleet[0], reason="Burnt.", user=manager, entry_key="own page")
    assert consignments_listed()[0].waiting == 2
    page = signed_in(manager).get(away.get_absolute_url()).content.decode()
    assert "2 without result" in page
    assert "no result is awaited" in page


def test_a_result_that_never_happened_may_be_entered_anew(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    path = reverse("result-add", args=[away.cylinders.get(item=fleet[0]).pk])
    for number, permanent in enumerate(("1.2", "1.3", "1.4"), start=1):
        again = result(fleet[0], permanent_ml=Decimal(permanent))
        enter_results(consignment=away, results=[again], user=technician)
        assert consignments_listed()[0].waiting == 2
        assert signed_in(technician).get(path).status_code == 302, "there is a result"
        kept = Result.objects.get()
        correct_record(
            record=history_of(fleet[0]).get(position=kept.record_position),
            service=None,
            reason="Figures of another cylinder.",
            user=technician,
            entry_key=f"void {number}",
        )
        assert consignments_listed()[0].waiting == 3
        assert signed_in(technician).get(path).status_code == 200
        page = signed_in(technician).get(away.get_absolute_url()).content.decode()
        assert "3 without result" in page
    words = [record.outcome for record in history_of(fleet[0])]
    assert words == ["void", "pass"] * 3
    assert Result.objects.count() == 1, "what is left of the last; the ledger keeps them all"
    assert list(broken_links()) == []


def test_what_we_cannot_judge_stands_as_the_house_says_and_says_so(
    station: Site, technician: User
) -> None:
    permit = cylinder(station, "00500", specification="DOT-SP")
    sent = sent_away(station, [permit], technician)
    enter_results(consignment=sent, results=[result(permit)], user=technician)
    kept = Result.objects.get()
    assert kept.our_word == ""
    assert not kept.disagrees
    assert "give it as the permit says" in kept.our_says
    assert history_of(permit).get().outcome == "pass"


def test_a_permits_limit_that_the_house_names_is_judged_by(station: Site, technician: User) -> None:
    permit = cylinder(station, "00500", specification="DOT-SP")
    sent = sent_away(station, [permit], technician)
    named = result(permit, limit_percent=Decimal(5))
    enter_results(consignment=sent, results=[named], user=technician)
    assert Result.objects.get().our_word == "pass"


def test_a_3ht_is_judged_by_its_fills_and_years(station: Site, technician: User) -> None:
    old = cylinder(
        station,
        "00600",
        specification="DOT-3HT",
        construction="type-1",
        fibre="",
        made_on=date(1999, 1, 1),
        in_service_on=date(1999, 2, 1),
        ree_ml=Decimal(70),
        design_life_years=None,
    )
    sent = sent_away(station, [old], technician)
    enter_results(consignment=sent, results=[result(old)], user=technician)
    kept = Result.objects.get()
    assert kept.our_word == "condemn"
    assert "24 is the end" in kept.our_says


def test_settled_as_condemned_it_is_condemned_for_ever(
    away: Consignment, fleet: list[Item], technician: User, manager: User
) -> None:
    disputed = result(fleet[0], permanent_ml=Decimal("3.2"))
    enter_results(consignment=away, results=[disputed], user=technician)
    kept = Result.objects.get()
    with pytest.raises(ConsignmentRefused, match="Write why"):
        settle(result=kept, word=Word.CONDEMN, why=" ", user=manager)
    for _ in range(2):
        settle(result=kept, word=Word.CONDEMN, why="Figures checked.", user=manager)
    assert standing(fleet[0]) == "condemned"
    assert history_of(fleet[0]).count() == 2
    with pytest.raises(ConsignmentRefused, match="nothing to settle"):
        settle(result=kept, word=Word.PASS, why="No.", user=manager)


def test_one_bad_result_leaves_all_of_them_out(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    good, late = result(fleet[0]), result(fleet[1], tested_on=date(2020, 1, 1))
    with pytest.raises(ConsignmentRefused, match="before the consignment left"):
        enter_results(consignment=away, results=[good, late], user=technician)
    assert not Result.objects.exists()
    assert history_of(fleet[0]).count() == 0


def test_a_result_that_stands_is_not_overwritten(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    enter_results(consignment=away, results=[result(fleet[0])], user=technician)
    assert enter_results(consignment=away, results=[result(fleet[0])], user=technician) == []
    other = result(fleet[0], total_ml=Decimal("63.0"))
    with pytest.raises(ConsignmentRefused, match="which stands"):
        enter_results(consignment=away, results=[other], user=technician)


# Lists -------------------------------------------------------------------------------------


def problems_of(away: Consignment, **changed: str) -> list[str]:
    """Return what is said of a list with one row that is good but for the changes."""
    tested_on = today_at(away.from_site) - timedelta(days=7)
    row = row_of(1, {"tag": "00001", "serial": "S-00001"}, tested_on)
    content = as_csv([{**row, **changed}])
    _, problems = read_results("back.csv", content, cylinders=sent_of(away))
    return [str(problem) for problem in problems]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, ""),
        ({"tag": "00099"}, "column tag: '00099' is not a cylinder of this consignment"),
        ({"serial": "S-00002"}, "is not that of 00001, S-00001; find out which was tested"),
        ({"tested_on": "2199-01-01"}, "column tested_on: '2199-01-01' is in the future"),
        ({"tested_on": "2020-01-01"}, "is before the consignment left"),
        ({"tested_on": ""}, "column tested_on: is empty"),
        ({"outcome": "condemned"}, "write condemn if that is meant"),
        ({"outcome": "reject"}, "column reason: is empty; write why it was rejected"),
        ({"method": "guess"}, "write one of direct, jacket, proof, visual"),
        ({"method": "visual"}, "column method: 'visual' is no pressure test"),
        ({"test_pressure_bar": ""}, "column test_pressure_bar: is empty; a pass needs"),
        ({"held_s": ""}, "column held_s: is empty"),
        ({"total_ml": ""}, "column total_ml: is empty; a jacket test measures it"),
        ({"total_ml": "1,200"}, "can be 1200 or 1.200"),
        ({"permanent_ml": "63"}, "column permanent_ml: '63' can't be: The permanent expansion"),
        ({"test_pressure_psi": "6527"}, "stands beside one in bar"),
        ({"limit_percent": "0"}, "is not between 0.1 and 100 %"),
    ],
)
def test_a_bad_row_is_named_with_line_column_value_and_remedy(
    away: Consignment, changed: dict[str, str], says: str
) -> None:
    problems = problems_of(away, **changed)
    assert any(says in problem for problem in problems) if says else problems == []
    assert all(problem.startswith("back.csv:2:") for problem in problems)


def test_a_bad_list_enters_nothing_and_names_every_row(away: Consignment, technician: User) -> None:
    tested_on = today_at(away.from_site) - timedelta(days=7)
    rows = [row_of(n, {"tag": f"{n:05d}"}, tested_on) for n in (1, 2, 3)]
    rows[1]["held_s"] = "half a minute"
    rows[2] = {**rows[2], "tag": "00001"}
    answer = signed_in(technician).post(
        reverse("consignment-results", args=[away.pk]),
        {"file": SimpleUploadedFile("back.csv", as_csv(rows))},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "back.csv:3: column held_s:" in page
    assert "back.csv:4: column tag:" in page
    assert "Nothing was entered: 2 to put right" in page
    assert not Result.objects.exists()


def test_a_list_as_it_went_out_holds_no_results(away: Consignment, technician: User) -> None:
    sent = signed_in(technician).get(reverse("consignment-csv", args=[away.pk])).getvalue()
    results, problems = read_results("list.csv", sent, cylinders=sent_of(away))
    assert results == []
    assert problems == []


def test_pounds_per_square_inch_are_taken_too(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    tested_on = today_at(away.from_site) - timedelta(days=7)
    row = row_of(1, {"tag": "00001"}, tested_on)
    row |= {"test_pressure_bar": "", "test_pressure_psi": "6527"}
    results, problems = read_results("b.csv", as_csv([row]), cylinders=sent_of(away))
    assert problems == []
    enter_results(consignment=away, results=results, user=technician)
    assert Result.objects.get().our_word == "pass", "6527 psi is 450.02 bar"


# On screen ---------------------------------------------------------------------------------


def test_a_result_by_hand_is_shown_with_our_verdict_before_it_is_entered(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    path = reverse("result-add", args=[away.cylinders.get(item=fleet[0]).pk])
    desk = signed_in(technician)
    assert "Test pressure asked" in desk.get(path).content.decode()
    checked = desk.post(path, by_hand(fleet[0], "check"))
    assert "The house says pass, we find condemn" in checked.content.decode()
    assert not Result.objects.exists()
    for _ in range(2):
        assert desk.post(path, by_hand(fleet[0], "enter")).status_code == 302
    assert Result.objects.get().open_question
    assert history_of(fleet[0]).count() == 1


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"total_ml": ""}, "Total expansion is empty; a jacket test measures it."),
        ({"reached": "450"}, "such as 300 bar or 4500 psi"),
        ({"tested_on": "2020-01-01"}, "before the consignment left"),
        ({"word": "reject"}, "Reason is empty; write why it was rejected."),
        ({"permanent_ml": "1,200"}, "can be 1200 or 1.200"),
    ],
)
def test_a_result_by_hand_is_held_to_the_same(
    *,
    away: Consignment,
    fleet: list[Item],
    technician: User,
    changed: dict[str, str],
    says: str,
) -> None:
    path = reverse("result-add", args=[away.cylinders.get(item=fleet[0]).pk])
    answer = signed_in(technician).post(path, by_hand(fleet[0], "enter", **changed))
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not Result.objects.exists()


def test_lists_of_consignments_ask_the_database_no_more_for_more(
    station: Site, technician: User, django_assert_num_queries: object
) -> None:
    for number in range(4):
        items = [cylinder(station, f"{number}{n:04d}") for n in range(3)]
        sent_away(station, items, technician, key=f"key {number}")
    with django_assert_num_queries(4):  # type: ignore[operator]
        rows = consignments_listed()
    assert [(row.many, row.waiting) for row in rows] == [(3, 3)] * 4
