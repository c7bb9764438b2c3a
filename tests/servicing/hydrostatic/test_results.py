"""What a test house says of a cylinder, what we make of it, and who settles it."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.contrib.auth.models import User
from django.urls import reverse

from registry.items.models import Item
from registry.people.actions.rights import NotAllowed
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.away.models import Consignment
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.standing import condemn, quarantine, withdraw
from servicing.hydrostatic.actions.consignments import (
    ConsignmentRefused,
    take_back,
)
from servicing.hydrostatic.actions.results import enter_results, settle
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import (
    condemnations_waiting,
    consignments_listed,
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
    standing,
)


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
    take_back(consignment=away, back_on=today_at(fleet[0].site), user=None)
    with pytest.raises(ConsignmentRefused, match="waits for a fleet manager"):
        sent_away(fleet[0].site, [fleet[0]], technician, key="again")
    with pytest.raises(NotAllowed, match="Only a fleet manager"):
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
    take_back(consignment=away, back_on=today_at(away.from_site) - timedelta(days=2), user=None)
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
