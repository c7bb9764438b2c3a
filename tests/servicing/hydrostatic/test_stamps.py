"""What the body marked at a retest: by form and by list, previewed, settled and corrected."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.away.models import Consignment
from servicing.due.actions.services import Service, log_service
from servicing.due.queries.engine import owed
from servicing.hydrostatic.actions.results import enter_results, settle
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.house import HouseResult, Known, opinion_on
from servicing.hydrostatic.pure.results import Sent, read_results
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import known_of
from servicing.ledger.pure.shoulder import Shoulder
from servicing.ledger.queries.records import history_of
from tests.people import signed_in
from tests.servicing.hydrostatic.away import RETEST, by_hand, own_test, readings_of, result
from tests.servicing.hydrostatic.made import LIMITS

SENT = {"00001": Sent("S-1", date(2020, 1, 1), date(2026, 6, 1), date(2026, 7, 1))}
HEAD = "tag,tested_on,method,outcome,by,reason,test_pressure_bar,held_s,total_ml,permanent_ml"


def listed(outcome: str, marks: str) -> tuple[list[Shoulder], list[str]]:
    """Return what a list with one result says of its marks, and what is refused."""
    head = f"{HEAD},stamped_next,stamped_end,stamped_permit,stamped_body"
    row = f"00001,2026-06-08,jacket,{outcome},R. Amble,worn,450,30,62.0,1.2,{marks}"
    found, problems = read_results("r.csv", f"{head}\n{row}\n".encode(), cylinders=SENT)
    return [each.shoulder for each in found], [str(problem) for problem in problems]


def test_a_list_of_results_says_what_was_marked() -> None:
    assert listed("pass", "06/2028,2035-01,SP-7,A123") == (
        [Shoulder("06/2028", "2035-01", "SP-7", "A123")],
        [],
    )


@pytest.mark.parametrize(
    ("outcome", "marks", "words"),
    [
        ("pass", "06/2024,,,", "is before the test itself, 8 Jun 2026"),
        ("pass", "2026-06,,,", "is when it was tested"),
        ("pass", ",06/2126,,", "more than 60 years after the test"),
        ("pass", "6/28,,,", "all four figures of the year"),
        ("reject", ",,SP-7,", "is marked only on what passed"),
    ],
)
def test_what_nobody_can_have_marked_is_refused_by_line(
    outcome: str, marks: str, words: str
) -> None:
    found, (problem,) = listed(outcome, marks)
    assert found == []
    assert "r.csv:2: column stamped_" in problem
    assert words in problem


def in_years(item: Item, years: int) -> str:
    """Return the month so many years on, as it stands on the metal."""
    today = today_at(item.site) - timedelta(days=7)
    return f"{today.month:02}/{today.year + years}"


def due_of(item: Item) -> tuple[date | None, str]:
    (found,) = (o for o in owed(item, today_at(item.site)) if o.task == RETEST)
    return found.due_on, found.counted_from or ""


def test_a_houses_result_is_shown_with_the_difference_and_moves_the_date(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    row, marks = away.cylinders.get(item=fleet[0]), {"stamped_next": in_years(fleet[0], 2)}
    address, client = reverse("result-add", args=[row.pk]), signed_in(technician)
    form = by_hand(fleet[0], "check", permanent_ml="1.2", **marks)
    shown = client.post(address, form, follow=True).content.decode()
    assert f"Stamped on it: {marks['stamped_next']}. By rule" in shown
    assert client.post(address, {**form, "step": "enter"}).status_code == 302
    assert readings_of(fleet[0])["stamped next test"] == marks["stamped_next"]
    assert due_of(fleet[0])[1] == "stamp"
    said = Result.objects.get().said
    assert said["stamped_next"] == marks["stamped_next"]


def test_what_the_house_marked_counts_once_the_dispute_is_settled(
    away: Consignment, fleet: list[Item], technician: User, manager: User
) -> None:
    marked = Shoulder(in_years(fleet[0], 2))
    disputed = result(fleet[0], permanent_ml=Decimal("3.11"), shoulder=marked)
    (made,) = enter_results(consignment=away, results=[disputed], user=technician)
    assert due_of(fleet[0])[1] != "stamp", "what did not pass is not marked by it"
    settle(result=made, word=Word.PASS, why="The rig leaked.", user=manager)
    assert due_of(fleet[0])[1] == "stamp"


def test_a_test_of_our_own_keeps_its_marks_only_where_it_passed(
    fleet: list[Item], technician: User
) -> None:
    item, client = fleet[0], signed_in(technician)
    address, marks = reverse("own-test", args=[item.pk]), {"stamped_next": in_years(fleet[0], 2)}
    over = own_test(item, "check", permanent_ml="9", **marks)
    assert "Stamped next test is marked only on what passed" in (
        client.post(address, over, follow=True).content.decode()
    )
    good = own_test(item, "check", **marks)
    assert "Of the two the earlier counts: the stamp." in (
        client.post(address, good, follow=True).content.decode()
    )
    assert client.post(address, {**good, "step": "enter"}).status_code == 302
    assert due_of(item)[1] == "stamp"


def test_a_service_takes_marks_which_a_correction_shows_again(
    fleet: list[Item], technician: User
) -> None:
    item, client = fleet[0], signed_in(technician)
    today = today_at(item.site).isoformat()
    said = {"task": RETEST, "done_on": today, "outcome": "pass", "performed_by": "A. Body"}
    form = {**said, "key": "s" * 32, "stamped_next": in_years(item, 2), "stamped_body": "A123"}
    address = reverse("log-service", args=[item.pk])
    shown = client.post(address, {**form, "step": "check"}, follow=True).content.decode()
    assert "Of the two the earlier counts: the stamp." in shown
    early = {**form, "stamped_next": "01/2020", "step": "check"}
    refused = client.post(address, early, follow=True).content.decode()
    assert "Stamped: next test is before the test itself" in refused
    assert client.post(address, {**form, "step": "enter"}).status_code == 302
    record = history_of(item).get()
    page = client.get(reverse("correct-record", args=[item.pk, record.position]))
    typed = page.context["form"].initial
    assert (typed["stamped_next"], typed["stamped_body"]) == (form["stamped_next"], "A123")
    assert "reading_1" not in typed


@pytest.mark.parametrize(
    ("before", "marked", "word"),
    [
        (None, "", Word.PASS),
        (date(2026, 5, 31), "", Word.CONDEMN),
        (date(2026, 6, 30), "", Word.PASS),
        (date(2026, 5, 31), "06/2031", Word.PASS),
    ],
)
def test_a_test_after_the_stamped_final_date_condemns_unless_it_marks_another(
    before: date | None, marked: str, word: Word
) -> None:
    bar = Pressure.of(450, "bar")
    known = Known("EN-12245", None, bar, None, frozenset(), date(2011, 5, 4), None, 0, before)
    said = HouseResult(
        tag="1", tested_on=date(2026, 6, 8), method="jacket", word=Word.PASS, by="A", reached=bar,
        held_s=30, total_ml=Decimal(62), permanent_ml=Decimal("1.2"),
        shoulder=Shoulder(life_end=marked),
    )  # fmt: skip
    assert opinion_on(said, known, LIMITS).word is word


def test_what_is_known_of_a_cylinder_holds_the_final_date_that_was_stamped(
    fleet: list[Item], technician: User
) -> None:
    service = Service(
        RETEST, date(2024, 6, 8), "pass", "A", readings=Shoulder(life_end="01/2035").readings
    )
    log_service(item=fleet[0], service=service, user=technician, entry_key="k")
    known = known_of(fleet[:2])
    assert [known[each.pk].end_stamped for each in fleet[:2]] == [date(2035, 1, 31), None]
