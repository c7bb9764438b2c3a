"""A record is corrected by a later one, and the dates follow: A1, A4, A7, A8, A24, D25."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.test import Client

from registry.items.models import Item
from registry.people.actions import add_person
from registry.people.models import KeptForm
from registry.people.pure import Role
from registry.sites.clock import now, today_at
from registry.trail.models import TrailEntry
from reports.documents.pure.record import record_pdf
from reports.documents.queries.record import service_record
from servicing.due.actions.corrections import (
    NothingCorrected,
    correct_record,
    effect_of_correction,
)
from servicing.due.actions.services import SecondPersonNeeded, Service, ServiceRefused, log_service
from servicing.due.actions.standing import condemn
from servicing.due.actions.store import recompute
from servicing.due.queries.engine import owed, owes
from servicing.due.queries.rows import DueQuestion, stored_rows
from servicing.ledger.actions import (
    AlreadyCorrected,
    CorrectionRefused,
    EntryKeyUsedTwice,
    SignatureRefused,
    sign,
)
from servicing.ledger.models import Record
from servicing.ledger.pure.corrections import Entered, attempts, in_force, is_a_reason
from servicing.ledger.pure.entry import Check, Reading
from servicing.ledger.queries.records import condemnation_of, facts_by_item
from servicing.ledger.queries.whole import ledger_faults
from tests.people import PASSWORD, make_item, signed_in, unproved
from tests.reports.documents.papers import printing

WHY = "The other mask was on the bench."
DAY = timedelta(days=1)


@pytest.fixture
def second(mask: Item) -> User:
    """Somebody who has no part in the work."""
    return add_person(
        username="sidon",
        full_name="Sidon Merrow",
        role=Role.TECHNICIAN,
        site=mask.site,
        password=PASSWORD,
    )


@pytest.fixture
def record(mask: Item, technician: User) -> Record:
    return log_service(item=mask, service=a_test(mask), user=technician, entry_key="first")


def a_test(mask: Item, days_ago: int = 0, outcome: str = "pass") -> Service:
    on = today_at(mask.site) - days_ago * DAY
    return Service("tightness-test", on, outcome, "Tekla Merrow", readings=(("leak", "1,10 mbar"),))


def due_of(item: Item) -> date | None:
    return stored_rows(DueQuestion(task="tightness-test")).get(item=item).due_on


@pytest.mark.parametrize("text", ["", "  ", ".", "x", "xx", "x.x.x", "--- !!", "aaaa"])
def test_what_says_nothing_is_no_reason(text: str) -> None:
    assert not is_a_reason(text)


@pytest.mark.parametrize("text", ["typo", "wrong mask", "Tag 12 verlesen", "день"])
def test_words_are_a_reason(text: str) -> None:
    assert is_a_reason(text)


def test_a_replacement_stands_where_the_first_record_stood() -> None:
    def entered(own: str, corrects: str = "", outcome: str = "pass") -> Entered[str]:
        return Entered(own, corrects, outcome, own)

    a, b, c = entered("a"), entered("b"), entered("c")
    assert in_force([a, b, c]) == ["a", "b", "c"]
    assert in_force([a, b, entered("a2", "a")]) == ["a2", "b"]
    assert in_force([a, b, entered("a2", "a"), c, entered("a3", "a2")]) == ["a3", "b", "c"]
    assert in_force([a, b, entered("-", "a", "void")]) == ["b"]
    assert in_force([a, b, entered("-", "a", "void"), entered("a2", "-")]) == ["a2", "b"]


def test_attempts_are_counted_within_a_piece_of_work() -> None:
    # Two pieces of the same work on one day, of two attempts and of one; one of other work.
    work = [("leak", 1), ("leak", 2), ("flow", 1), ("leak", 1)]
    assert attempts(work) == [2, 2, 1, 1]


def test_a_correction_moves_the_dates_and_keeps_the_original(
    record: Record, mask: Item, technician: User
) -> None:
    right = replace(a_test(mask, days_ago=40), note="the day on the card")
    effect = effect_of_correction(record, right)
    assert Record.objects.count() == 1
    added = correct_record(
        record=record, service=right, reason=WHY, user=technician, entry_key="second"
    )
    assert (added.corrects, added.reason, added.number) == (record.hash, WHY, 2)
    assert {o.task: o.due_on for o in effect.after}["tightness-test"] == due_of(mask)
    assert {o.task: o.due_on for o in effect.before}["tightness-test"] != due_of(mask)
    assert Record.objects.get(pk=record.pk).hash == record.hash
    assert list(ledger_faults()) == []
    assert recompute() == 0


def test_a_record_that_never_happened_counts_no_more(
    record: Record, mask: Item, technician: User
) -> None:
    before = record.entered_at - DAY
    never = correct_record(
        record=record, service=None, reason=WHY, user=technician, entry_key="second"
    )
    assert never.outcome == "void"
    assert facts_by_item([mask.pk])[mask.pk] == []
    assert owed(mask, today_at(mask.site))
    assert (
        due_of(mask)
        == {o.task: o.due_on for o in owed(mask, today_at(mask.site))}["tightness-test"]
    )
    assert facts_by_item([mask.pk], known_by=before).get(mask.pk, []) == []
    again = correct_record(
        record=never, service=a_test(mask, 1), reason=WHY, user=technician, entry_key="third"
    )
    assert [fact[1] for fact in facts_by_item([mask.pk])[mask.pk]] == [again.done_on]


def test_what_was_known_before_a_correction_can_still_be_asked(
    mask: Item, technician: User
) -> None:
    early, late = (datetime(2026, 11, day, 12, tzinfo=UTC) for day in (20, 22))
    on = date(2026, 11, 1)
    wrong = Service("use", on, "pass", "Tekla Merrow")
    record = log_service(item=mask, service=wrong, user=technician, entry_key="a", at=early)
    correct_record(record=record, service=None, reason=WHY, user=technician, entry_key="b", at=late)
    between = datetime(2026, 11, 21, tzinfo=UTC)
    facts = facts_by_item([mask.pk], known_by=between)[mask.pk]
    assert [fact[:4] for fact in facts] == [("use", on, "pass", None)]
    assert facts_by_item([mask.pk], known_by=late)[mask.pk] == []


def test_a_record_is_corrected_once_and_the_second_is_told_by_whom(
    record: Record, mask: Item, technician: User, manager: User
) -> None:
    first = correct_record(
        record=record, service=a_test(mask, 3), reason=WHY, user=technician, entry_key="b"
    )
    with pytest.raises(AlreadyCorrected, match=r"by Tekla Merrow on .*: The other mask"):
        correct_record(
            record=record, service=a_test(mask, 4), reason=WHY, user=manager, entry_key="c"
        )
    assert Record.objects.count() == 2
    correct_record(record=first, service=a_test(mask, 4), reason=WHY, user=manager, entry_key="d")
    [(_, done_on, *_)] = facts_by_item([mask.pk])[mask.pk]
    assert done_on == today_at(mask.site) - 4 * DAY


def test_the_same_correction_sent_twice_is_one_record(
    record: Record, mask: Item, technician: User
) -> None:
    said: dict[str, Any] = {"record": record, "reason": WHY, "user": technician, "entry_key": "b"}
    first = correct_record(service=a_test(mask, 3), **said)
    assert correct_record(service=a_test(mask, 3), **said).pk == first.pk
    with pytest.raises(EntryKeyUsedTwice):
        correct_record(service=a_test(mask, 4), **said)


@pytest.mark.parametrize("reason", [" ", ".", "x"])
def test_a_correction_without_a_reason_is_refused(
    record: Record, mask: Item, technician: User, reason: str
) -> None:
    with pytest.raises(CorrectionRefused, match="Write why"):
        correct_record(
            record=record, service=a_test(mask, 3), reason=reason, user=technician, entry_key="b"
        )
    assert Record.objects.count() == 1


def test_a_correction_that_changes_nothing_or_can_not_be_is_refused(
    record: Record, mask: Item, technician: User
) -> None:
    with pytest.raises(NothingCorrected):
        effect_of_correction(record, a_test(mask))
    with pytest.raises(ServiceRefused, match="in the future"):
        effect_of_correction(record, a_test(mask, days_ago=-1))


def test_a_condemnation_is_undone_by_two_people_only(
    mask: Item, manager: User, technician: User, second: User
) -> None:
    end = condemn(item=mask, reason="Shell cracked through.", user=manager, entry_key="end")
    said: dict[str, Any] = {"record": end, "service": None, "reason": WHY, "user": technician}
    for who, words in (
        (None, "two people"),
        (technician, "somebody else must sign"),
        (manager, "somebody else must sign"),
    ):
        with pytest.raises(SecondPersonNeeded, match=words):
            correct_record(**said, entry_key="undo", second=who)
    assert condemnation_of(mask) == end
    undone = correct_record(**said, entry_key="undo", second=second)
    assert condemnation_of(mask) is None
    assert owes(mask, today_at(mask.site))[0].word == "in-service"
    [signature] = undone.signatures.all()
    assert (signature.meaning, signature.printed_name) == ("checked", "Sidon Merrow")
    assert signature.record_hash == undone.hash
    assert list(ledger_faults()) == []


def test_the_performer_can_not_sign_as_the_second_person(
    record: Record, technician: User, second: User
) -> None:
    said: dict[str, Any] = {"record": record, "at": record.entered_at, "zone": "Europe/Vienna"}
    with pytest.raises(SignatureRefused, match="second person"):
        sign(**said, user=technician, meaning="checked", second_person=True)
    first = sign(**said, user=second, meaning="checked", second_person=True)
    assert sign(**said, user=second, meaning="checked").pk == first.pk
    with pytest.raises(SignatureRefused, match="Sidon Merrow signed it"):
        sign(**said, user=technician, meaning="checked")


def test_a_repeat_on_the_day_of_a_failure_is_the_second_attempt(
    mask: Item, technician: User
) -> None:
    for key, outcome in (("a", "fail"), ("b", "pass")):
        service = a_test(mask, outcome=outcome)
        log_service(item=mask, service=service, user=technician, entry_key=key)
    assert list(Record.objects.order_by("pk").values_list("attempt", flat=True)) == [1, 2]
    page = signed_in(technician).get(f"/items/{mask.pk}/records/2/").content.decode()
    assert "Attempt 2 of 2" in page
    text = on_paper(mask)
    assert "attempt 1 of 2" in text
    assert "attempt 2 of 2" in text


def on_paper(mask: Item) -> str:
    """Return the words of the service record, and make sure that it can be drawn."""
    paper = service_record(mask, printing(mask))
    assert record_pdf(paper).startswith(b"%PDF")
    return repr(paper.entries)


def test_a_paper_says_who_signed_and_what_was_amended(
    record: Record, mask: Item, technician: User
) -> None:
    for meaning in ("performed", "checked", "released"):
        user = User.objects.create_user(meaning, first_name=meaning.title(), last_name="Merrow")
        at = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)
        sign(record=record, user=user, meaning=meaning, at=at, zone="Europe/Vienna")
    clean = on_paper(mask)
    for meaning in ("performed", "checked", "released"):
        words = f"{meaning}: {meaning.title()} Merrow, 25 Nov 2026, 09:30 CET (Europe/Vienna)"
        assert words in clean
    assert "corrected_by=None" in clean
    assert "corrected_by=2" not in clean
    correct_record(record=record, service=None, reason=WHY, user=technician, entry_key="b")
    assert "corrected_by=2" in on_paper(mask)


# --- on screen


def fields(page: str) -> dict[str, str]:
    """Return the hidden fields of a page's own form."""
    form = page[page.index('class="bench') :]
    found = re.findall(r'<input type="hidden" name="(\w+)"(?: value="([^"]*)")?', form)
    return {name: value for name, value in found if name not in ("csrfmiddlewaretoken", "step")}


def typed(mask: Item, days_ago: int, **more: str) -> dict[str, str]:
    on = today_at(mask.site) - days_ago * DAY
    return {
        "key": "c" * 32,
        "task": "tightness-test",
        "done_on": on.isoformat(),
        "outcome": "pass",
        "performed_by": "Tekla Merrow",
        "reason": WHY,
        **more,
    }


def test_a_record_is_corrected_on_screen_from_its_confirmation(
    record: Record, mask: Item, technician: User
) -> None:
    client = signed_in(technician)
    page = client.get(f"/items/{mask.pk}/records/1/").content.decode()
    assert f'href="/items/{mask.pk}/records/1/correct/"' in page
    path = f"/items/{mask.pk}/records/1/correct/"
    form = client.get(path).content.decode()
    assert 'value="1,10 mbar"' in form
    check = client.post(path, {**typed(mask, 30), "step": "check"})
    assert "Nothing is written yet" in check.content.decode()
    assert "moves" in check.content.decode()
    assert Record.objects.count() == 1
    sent = {**fields(check.content.decode()), "step": "enter"}
    for _ in range(2):  # a double click
        done = client.post(path, sent)
        assert done["Location"] == f"/items/{mask.pk}/records/2/"
    assert Record.objects.count() == 2
    signature = Record.objects.get(position=2).signatures.get()
    assert (signature.meaning, signature.user) == ("entered", technician)
    assert "Entered: Tekla Merrow" in client.get(done["Location"]).content.decode()
    old = client.get(f"/items/{mask.pk}/records/1/").content.decode()
    assert "does not count" in old
    assert WHY in old
    assert "1,10 mbar" in old
    assert 'class="superseded"' in client.get(f"/items/{mask.pk}/").content.decode()


def test_a_correction_is_signed_with_the_password_where_it_was_long_ago(
    record: Record, mask: Item, technician: User
) -> None:
    client, path = unproved(signed_in(technician)), f"/items/{mask.pk}/records/1/correct/"
    sent = {**typed(mask, 30), "step": "enter"}
    for word in ("", "not it at all"):
        refused = client.post(path, {**sent, "password": word})
        assert refused.status_code == 422
        assert "Check what the correction moves" in refused.content.decode()
    assert Record.objects.count() == 1
    assert client.post(path, {**sent, "password": PASSWORD}).status_code == 302
    assert [s.meaning for s in Record.objects.get(position=2).signatures.all()] == ["entered"]


def test_a_correction_typed_when_the_session_had_ended_comes_back(
    record: Record, mask: Item, technician: User
) -> None:
    client, path = signed_in(technician), f"/items/{mask.pk}/records/1/correct/"
    promised = fields(client.get(path).content.decode())["kept_for"]
    Session.objects.all().delete()
    secret = {"second_name": "sidon", "second_password": PASSWORD, "password": PASSWORD}
    client.post(path, {**typed(mask, 30, note="as on the card"), **secret, "kept_for": promised})
    assert not {*secret} & KeptForm.objects.get().fields.keys()
    form = signed_in(technician).get(path).context["form"]
    assert (form["reason"].value(), form["note"].value()) == (WHY, "as on the card")
    assert Record.objects.count() == 1


@pytest.mark.parametrize("reason", ["", ".", "x"])
def test_a_correction_without_a_reason_comes_back_with_what_was_typed(
    record: Record, mask: Item, technician: User, reason: str
) -> None:
    sent = {**typed(mask, 30, note="as on the card"), "reason": reason, "step": "enter"}
    answer = signed_in(technician).post(f"/items/{mask.pk}/records/1/correct/", sent)
    assert answer.status_code == 422
    assert "as on the card" in answer.content.decode()
    assert Record.objects.count() == 1


def test_the_second_person_signs_on_the_page_with_their_own_password(
    mask: Item, manager: User, technician: User, second: User
) -> None:
    condemn(item=mask, reason="Shell cracked through.", user=manager, entry_key="end")
    client, path = signed_in(technician), f"/items/{mask.pk}/records/1/correct/"
    sent = {**typed(mask, 0, never="on", task="condemnation", outcome="condemned"), "step": "enter"}
    for name, word, status in (
        ("", "", 422),
        ("sidon", "not it", 422),
        ("tekla", PASSWORD, 422),
        ("manfrid", PASSWORD, 422),
        ("sidon", PASSWORD, 302),
    ):
        answer = client.post(path, {**sent, "second_name": name, "second_password": word})
        assert answer.status_code == status, name
        assert PASSWORD not in answer.content.decode()
        assert (condemnation_of(mask) is None) is (status == 302)
    page = client.get(f"/items/{mask.pk}/records/2/").content.decode()
    assert "Checked: Sidon Merrow" in page


def test_guessing_the_second_persons_password_is_slowed_and_in_the_trail(
    mask: Item, manager: User, technician: User, second: User
) -> None:
    condemn(item=mask, reason="Shell cracked through.", user=manager, entry_key="end")
    client, path = signed_in(technician), f"/items/{mask.pk}/records/1/correct/"
    sent = {**typed(mask, 0, never="on", task="condemnation", outcome="condemned"), "step": "enter"}
    with time_machine.travel(now(), tick=False):
        for word in ("guess", "again", "once more", "and on", "and on", "and on"):
            answer = client.post(path, {**sent, "second_name": "sidon", "second_password": word})
            assert "the name or the password is not right" in answer.content.decode()
        answer = client.post(path, {**sent, "second_name": "sidon", "second_password": PASSWORD})
    assert answer.status_code == 422
    assert "Too many wrong tries. Wait 2 s" in answer.content.decode()
    assert condemnation_of(mask) is not None
    refused = TrailEntry.objects.filter(what="signing-refused", by_user=technician)
    assert [(row.subject, row.why.partition(": ")[2]) for row in refused.order_by("number")] == [
        *[("sidon", "wrong name or password")] * 6,
        ("sidon", "too many wrong tries"),
    ]


def test_a_password_in_the_field_of_the_second_name_is_not_written_down(
    mask: Item, manager: User, technician: User
) -> None:
    condemn(item=mask, reason="Shell cracked through.", user=manager, entry_key="end")
    sent = {**typed(mask, 0, never="on", task="condemnation", outcome="condemned"), "step": "enter"}
    signed_in(technician).post(
        f"/items/{mask.pk}/records/1/correct/",
        {**sent, "second_name": PASSWORD, "second_password": "sidon"},
    )
    entry = TrailEntry.objects.latest("number")
    assert (entry.what, entry.subject) == ("signing-refused", "of nobody")
    assert PASSWORD not in entry.why


@pytest.mark.parametrize("task", ["return-to-service", "withdrawal", "quarantine", "condemnation"])
def test_a_correction_makes_no_decision_of_something_else(
    record: Record, mask: Item, technician: User, task: str
) -> None:
    # Else a return could be had without what must be done before it (A18).
    wrong = Service(task, record.done_on, "pass", "Tekla Merrow")
    with pytest.raises(ServiceRefused, match="decided on the item's own page"):
        correct_record(
            record=record, service=wrong, reason=WHY, user=technician, entry_key="second"
        )
    assert Record.objects.count() == 1


JUDGED = Reading("leak", "1,10", "mbar", "1.10", "mbar", "at most 1.0 mbar", "L5", "fail", "G-1")
LOOKED_AT = Check("strap", "Look at the strap.", "not-good", "torn")


@pytest.mark.parametrize("found", [{"readings": (JUDGED,)}, {"checks": (LOOKED_AT,)}])
def test_a_correction_makes_no_pass_of_what_a_procedure_failed(
    mask: Item, technician: User, found: dict[str, Any]
) -> None:
    plain = replace(a_test(mask, outcome="fail"), readings=(), procedure="mask-test v1")
    service = replace(plain, **found)
    failed = log_service(item=mask, service=service, user=technician, entry_key="judged")
    for wrong, words in (
        (replace(service, outcome="pass"), "can't have passed"),
        (replace(service, task="cleaning"), "A procedure was followed"),
    ):
        with pytest.raises(ServiceRefused, match=words):
            correct_record(
                record=failed, service=wrong, reason=WHY, user=technician, entry_key="pass"
            )
    later = replace(service, performed_by="Somebody else")
    correct_record(record=failed, service=later, reason=WHY, user=technician, entry_key="name")


def test_somebody_who_entered_meanwhile_is_named_and_nothing_typed_is_lost(
    record: Record, mask: Item, technician: User, manager: User
) -> None:
    client = signed_in(technician)
    path = f"/items/{mask.pk}/service/"
    seen = fields(client.get(path).content.decode())["seen"]
    assert seen == "1"
    log_service(
        item=mask, service=a_test(mask, outcome="fail"), user=manager, entry_key="meanwhile"
    )
    sent = {**typed(mask, 0, note="my own words"), "seen": seen, "step": "enter"}
    answer = client.post(path, sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "entered by Manfrid Merrow" in page
    assert "my own words" in page
    assert Record.objects.count() == 2
    confirmed = {**sent, "seen": fields(page)["seen"]}
    assert client.post(path, confirmed).status_code == 302
    assert Record.objects.get(position=3).note == "my own words"


def test_a_late_entry_is_shown_as_late(mask: Item, technician: User) -> None:
    log_service(item=mask, service=a_test(mask, days_ago=9), user=technician, entry_key="late")
    page = Client()
    page.force_login(technician)
    assert "entered 9 days later" in page.get(f"/items/{mask.pk}/records/1/").content.decode()
    assert "days_late=9" in on_paper(mask)


def test_a_correction_names_a_record_of_the_same_item(
    record: Record, mask: Item, technician: User
) -> None:
    other = make_item(mask.site, "00124", made_on=date(2020, 1, 1))
    record.item = other
    with pytest.raises(CorrectionRefused, match="same item"):
        correct_record(
            record=record, service=a_test(other, 2), reason=WHY, user=technician, entry_key="b"
        )
