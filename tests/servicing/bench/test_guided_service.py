"""One item through one task: kept step by step, in order, checked and signed. A17 to A21, D23."""

from datetime import date, timedelta
from typing import Any

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.people.actions.authorisations import grant_authorisation
from registry.sites.clock import now
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.bench.models import Draft
from servicing.due.actions.register import save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.queries.engine import owes
from servicing.ledger.queries.records import history_of
from tests.people import PASSWORD, make_item, signed_in, unproved
from tests.servicing.bench.conftest import calibrate, make_charged_set
from tests.servicing.bench.desk import DONE, GOOD, STEPS, Desk, said


def records(item: Item) -> list[Any]:
    return list(history_of(item).order_by("position"))


def test_looking_at_the_bench_keeps_nothing(technician: User, mask: Item, test_bench: Item) -> None:
    page = signed_in(technician).get(f"/bench/{mask.pk}/tightness-test/")
    assert page.status_code == 200
    assert not Draft.objects.exists()


def test_a_whole_service_is_one_signed_record_with_everything_judged(
    desk: Desk, mask: Item, test_bench: Item, today: date
) -> None:
    desk.answer_all()
    assert not records(mask)
    assert desk.check().status_code == 200
    assert desk.sign().status_code == 302
    (record,) = records(mask)
    entry = record.entry
    (reading,) = entry.readings
    assert (reading.typed, reading.unit, reading.value) == ("0,30", "mbar", "0.0003")
    assert (reading.limit, reading.verdict) == ("at most 1 mbar", "pass")
    assert reading.source
    assert reading.instrument == entry.instruments[0].marked_as == "B01 · Wexalune · S-B01"
    assert entry.instruments[0].calibrated_on == today - timedelta(days=30)
    assert [check.answer for check in entry.checks] == [
        "good",
        "good",
        "not-applicable",
        "done",
        "not-applicable",
        "not-applicable",
        "done",
        "done",
    ]
    assert entry.procedure.startswith("mask-tightness-test v1 ")
    assert (entry.outcome, entry.attempt, entry.performed_by) == ("pass", 1, "Tekla Merrow")
    assert [s.meaning for s in record.signatures.all()] == ["performed"]
    assert not Draft.objects.exists()


def test_after_a_cleaning_the_page_offers_the_test_that_it_asks_for(
    technician: User, mask: Item, today: date
) -> None:
    for task in ("periodic-inspection", "cleaning"):
        done = Service(task=task, done_on=today, outcome="pass", performed_by="Tekla Merrow")
        record = log_service(item=mask, service=done, user=technician, entry_key=task)
    page = signed_in(technician).get(f"/items/{mask.pk}/records/{record.position}/")
    assert f'<a class="act" href="/bench/{mask.pk}/tightness-test/">' in page.content.decode()


def test_the_last_step_first_is_refused_and_nothing_is_kept(desk: Desk, mask: Item) -> None:
    answer = desk.answer("pack", DONE)
    assert answer.status_code == 422
    assert "Step 8 comes after step 1; nothing was saved" in said(answer)
    assert Draft.objects.get().answers == {}
    assert not records(mask)


def test_signing_before_the_end_is_refused_and_nothing_is_written(desk: Desk, mask: Item) -> None:
    desk.answer("look", GOOD)
    answer = desk.sign()
    assert answer.status_code == 422
    assert "Step 2, diaphragm: Choose what was found." in answer.content.decode()
    assert not records(mask)


def test_a_confirmed_reading_is_not_asked_about_again_when_the_test_is_repeated(
    desk: Desk, mask: Item
) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    far_out = {"typed": "40", "unit": "mbar"}
    assert b"is unusual here" in desk.answer("leak", far_out).content
    assert desk.answer("leak", {**far_out, "sure": "40"}).status_code == 302
    page = desk.client.get(f"{desk.path}?step=leak").content.decode()
    assert '<input type="hidden" name="sure" value="40"' in page
    again = desk.answer("leak", {**far_out, "sure": "40", "then": "again"})
    assert again.status_code == 302
    assert "attempt 2" in desk.client.get(desk.path).content.decode()


def test_a_failed_reading_is_never_released(desk: Desk, mask: Item) -> None:
    desk.answer_all(leak={"typed": "1.3", "unit": "mbar"})
    answer = desk.sign("release")
    assert answer.status_code == 422
    assert "1.3 mbar is outside the limit: at most 1 mbar" in said(answer)
    assert not records(mask)


def test_a_failure_takes_the_item_out_and_a_second_attempt_brings_it_back(
    desk: Desk, mask: Item, today: date
) -> None:
    desk.answer_all(leak={"typed": "1.3", "unit": "mbar", "note": "exhalation valve"})
    assert desk.sign().status_code == 302
    assert owes(mask, today)[0].word == "out-of-service"
    page = desk.client.get(desk.path)
    assert b"attempt 2" in page.content
    desk.answer_all(renewed_disc={"word": "done", "batch": "7731", "made_on": "2026-01-05"})
    assert b"Sign and return to service" in desk.check().content
    assert desk.sign("release").status_code == 302
    first, renewed, second = records(mask)
    assert [(r.outcome, r.attempt) for r in (first, second)] == [("fail", 1), ("pass", 2)]
    assert first.note == "leak: exhalation valve"
    assert second.entry.parts[0].batch == "7731"
    assert (renewed.task, renewed.part_made_on) == ("disc-renewal", date(2026, 1, 5))
    assert second.part_made_on is None
    assert {s.meaning for s in second.signatures.all()} == {"performed", "released"}
    assert owes(mask, today)[0].word == "in-service"


def test_two_attempts_in_one_piece_of_work_are_two_records_signed_together(
    desk: Desk, mask: Item
) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    desk.answer("leak", {"typed": "1.3", "unit": "mbar"})
    assert desk.client.post(f"{desk.path}check/", {"act": "again"}).status_code == 302
    # What was found good by eye is carried over; what is measured and done is asked anew.
    held = Draft.objects.get(closed=False)
    assert set(held.answers) == {"look", "diaphragm"}
    desk.answer_all()
    page = desk.check().content.decode()
    assert "nothing was found" not in page
    assert "Attempt 2 passes" in page
    assert "Before it 1 attempt failed" in page
    assert desk.sign().status_code == 302
    assert [(r.outcome, r.attempt) for r in records(mask)] == [("fail", 1), ("pass", 2)]


def test_a_reading_corrected_before_signing_is_named_in_the_record(desk: Desk, mask: Item) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    desk.answer("leak", {"typed": "1.3", "unit": "mbar"})
    desk.answer_all()
    desk.sign()
    assert records(mask)[0].note == "leak: typed as 1.3 first"


def test_a_failed_draft_is_not_thrown_away(desk: Desk, mask: Item) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    desk.answer("leak", {"typed": "1.3", "unit": "mbar"})
    desk.client.post(f"{desk.path}put-aside/")
    assert Draft.objects.count() == 1
    assert desk.answer("leak", {"typed": "0.3", "unit": "mbar"}).status_code == 302


def test_sending_the_signature_twice_makes_one_record(desk: Desk, mask: Item) -> None:
    desk.answer_all()
    page = desk.check()
    form = {"act": "sign", "seen": page.context["seen"], "key": Draft.objects.get().entry_key}
    answers = [desk.client.post(f"{desk.path}check/", form) for _ in range(3)]
    assert [(a.status_code, a["Location"]) for a in answers] == [
        (302, f"/items/{mask.pk}/records/1/")
    ] * 3
    assert len(records(mask)) == 1


def test_an_implausible_reading_is_asked_about_and_kept_once_confirmed(desk: Desk) -> None:
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    asked = desk.answer("leak", {"typed": "30", "unit": "mbar"})
    assert asked.status_code == 422
    assert "Did you mean" in asked.content.decode()
    assert "leak" not in Draft.objects.get().answers
    # Another number with the old confirmation is asked about again.
    again = desk.answer("leak", {"typed": "40", "unit": "mbar", "sure": "30"})
    assert again.status_code == 422
    assert desk.answer("leak", {"typed": "30", "unit": "mbar", "sure": "30"}).status_code == 302


def test_not_good_needs_a_note(desk: Desk) -> None:
    answer = desk.answer("look", {"word": "not-good"})
    assert answer.status_code == 422
    assert "Write what is not good" in said(answer)
    assert desk.answer("look", {"word": "not-good", "note": "strap torn"}).status_code == 302


def test_an_instrument_out_of_calibration_is_not_taken(
    technician: User, mask: Item, old_bench: Item, today: date
) -> None:
    answer = Desk(technician, mask).set(
        **{"scan_mask-test-bench": "B02", "done_on": today.isoformat()}
    )
    assert answer.status_code == 422
    assert "The calibration of B02 was due on" in said(answer)
    assert not Draft.objects.exists()


def test_nothing_is_judged_with_an_instrument_out_of_calibration_on_the_day(desk: Desk) -> None:
    # Before its first calibration, thirty days ago.
    desk.set(done_on=(now().date() - timedelta(days=60)).isoformat())
    for step, given in STEPS[:4]:
        assert desk.answer(step, given).status_code == 302
    answer = desk.answer("leak", {"typed": "0.3", "unit": "mbar"})
    assert answer.status_code == 422
    assert "the calibration of B01 was due on" in said(answer)


def test_the_day_of_the_work_decides_whether_an_instrument_was_in_calibration(
    technician: User, mask: Item, old_bench: Item, today: date
) -> None:
    desk = Desk(technician, mask)
    then = today - timedelta(days=780)
    desk.set(**{"scan_mask-test-bench": "B02", "done_on": then.isoformat()})
    desk.answer_all()
    assert desk.sign().status_code == 302
    assert records(mask)[0].done_on == then


def test_an_instrument_that_fails_between_reading_and_signing_is_refused(
    desk: Desk, mask: Item, test_bench: Item, technician: User, today: date
) -> None:
    desk.answer_all()
    calibrate(test_bench, today, "fail", technician)
    answer = desk.sign()
    assert answer.status_code == 422
    assert "B01 was out of service" in answer.content.decode()
    assert not records(mask)


def test_what_changed_since_the_check_page_must_be_read_before_it_is_signed(
    desk: Desk, mask: Item, manager: User
) -> None:
    desk.answer_all()
    page = desk.check()
    other = Desk(manager, mask, "cleaning")
    for step in ("apart", "clean", "disinfect", "rinse", "dry", "look", "to-test"):
        other.answer(step, GOOD if step == "look" else DONE)
    assert other.sign().status_code == 302
    form = {"act": "sign", "seen": page.context["seen"]}
    answer = desk.client.post(f"{desk.path}check/", form)
    assert answer.status_code == 422
    assert "Entered meanwhile by others: cleaning" in answer.content.decode()
    assert len(records(mask)) == 1
    assert desk.sign().status_code == 302


def test_another_person_does_not_see_a_draft(desk: Desk, mask: Item, manager: User) -> None:
    desk.answer("look", GOOD)
    page = Desk(manager, mask).client.get(desk.path)
    assert page.status_code == 200
    assert Draft.objects.get().user == desk.user
    assert b"Step 2" not in page.content


def test_a_draft_survives_signing_out(desk: Desk) -> None:
    desk.answer("look", GOOD)
    desk.client.logout()
    page = Desk(desk.user, desk.item).client.get(desk.path)
    assert b"step 2 of 8" in page.content


def test_who_was_away_signs_with_the_password(desk: Desk, mask: Item) -> None:
    desk.answer_all()
    unproved(desk.client, minutes=11)
    assert "Your password" in said(desk.sign())
    wrong = desk.sign(password="not my password at all")
    assert wrong.status_code == 422
    assert not records(mask)
    assert desk.sign(password=PASSWORD).status_code == 302


def test_who_is_not_authorised_for_the_task_can_not_sign(
    desk: Desk, mask: Item, manager: User, today: date
) -> None:
    grant_authorisation(
        person=desk.user,
        task="tightness-test",
        valid_from=today - timedelta(days=100),
        valid_until=today - timedelta(days=1),
        user=manager,
    )
    desk.answer_all()
    answer = desk.sign()
    assert answer.status_code == 422
    assert "is not authorised for tightness test" in answer.content.decode()
    assert not records(mask)
    desk.set(done_on=(today - timedelta(days=7)).isoformat())
    assert desk.sign().status_code == 302
    assert records(mask)[0].authorised.startswith("authorisation ")


def test_what_needs_a_second_person_is_not_signed_by_one_alone(
    technician: User, manager: User, station: Site, procedures: None
) -> None:
    cylinder = make_item(station, "C0001", "cylinder", made_on=date(2020, 1, 1))
    at = Desk(technician, cylinder, "internal-inspection")
    for step, given in (
        ("empty", DONE),
        ("thread", GOOD),
        ("inside", {"word": "level-1"}),
        ("foreign", GOOD),
        ("dry", DONE),
        ("seal", {"word": "done", "batch": "88"}),
    ):
        assert at.answer(step, given).status_code == 302, step
    assert "Second person" in said(at.sign())
    alone = at.sign(checker=technician.username, checker_password=PASSWORD)
    assert "somebody else must sign" in said(alone)
    wrong = at.sign(checker=manager.username, checker_password="not hers")
    assert "the name or the password is not right" in said(wrong)
    assert TrailEntry.objects.filter(what="signing-refused").count() == 2
    assert not records(cylinder)
    assert at.sign(checker=manager.username, checker_password=PASSWORD).status_code == 302
    (record,) = records(cylinder)
    assert {s.meaning: s.username for s in record.signatures.all()} == {
        "performed": technician.username,
        "checked": manager.username,
    }


def test_damage_of_level_3_fails_and_proposes_to_condemn(
    technician: User, station: Site, procedures: None
) -> None:
    cylinder = make_item(station, "C0001", "cylinder", made_on=date(2020, 1, 1))
    at = Desk(technician, cylinder, "internal-inspection")
    at.answer("empty", DONE)
    at.answer("thread", GOOD)
    at.answer("inside", {"word": "level-3", "note": "cracks at the neck"})
    assert b"condemning is proposed" in at.check().content
    # Nobody else is needed to take it out of service.
    assert at.sign().status_code == 302
    assert records(cylinder)[0].outcome == "fail"


def test_where_several_procedures_fit_one_is_chosen_first(
    technician: User, station: Site, test_bench: Item, today: date
) -> None:
    compressor = make_item(station, "K01", "compressor", made_on=date(2020, 1, 1))
    at = Desk(technician, compressor, "air-quality-test")
    assert b"By which procedure" in at.client.get(at.path).content
    assert "By which procedure" in said(at.set(done_on=today.isoformat()))
    assert b"Grade D" not in at.client.get(at.path).content  # a US regulation
    chosen = {"procedure": "air-nfpa-1989", "done_on": today.isoformat()}
    assert at.set(**chosen, **{"pick_air-test-kit": str(test_bench.pk)}).status_code == 302
    assert Draft.objects.get().procedure == "air-nfpa-1989"


def test_a_task_without_a_procedure_is_logged_by_the_plain_form(
    technician: User, mask: Item, procedures: None
) -> None:
    answer = signed_in(technician).get(f"/bench/{mask.pk}/overhaul/")
    assert answer["Location"] == f"/items/{mask.pk}/service/?task=overhaul"


def test_a_condemned_item_is_not_served(
    technician: User, mask: Item, procedures: None, today: date
) -> None:
    service = Service("tightness-test", today, "condemned", "Tekla")
    log_service(item=mask, service=service, user=technician, entry_key="c")
    answer = signed_in(technician).post(
        f"/bench/{mask.pk}/tightness-test/", {"step": "look", "word": "good"}
    )
    assert answer["Location"] == mask.get_absolute_url()
    assert not Draft.objects.exists()


def test_who_reads_psi_types_psi_and_bar_is_kept_beside_it(
    technician: User, station: Site, test_bench: Item, today: date
) -> None:
    at = Desk(technician, make_charged_set(station, "S01", 300, today), "functional-test")
    at.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat(), units="psi")
    for step in ("look", "hoses", "cylinder-date"):
        at.answer(step, GOOD)
    page = at.client.get(at.path).content.decode()
    assert "cylinder S01C (270 bar is about 3916 psi)" in page
    assert 'name="unit" value="psi"' in page
    at.answer("charge", {"typed": "4350", "unit": "psi"})
    # 4350 psi: NIST SP 811, appendix B: 1 psi = 6.894757 kPa, so 299.92 bar.
    reading = Draft.objects.get().answers["charge"]
    assert (reading["typed"], reading["unit"]) == ("4350", "psi")
    assert "Charge 4350 psi: pass" in at.client.get(at.path).content.decode()


def test_a_site_may_ask_for_psi_and_a_person_for_bar_all_the_same(
    technician: User, station: Site, test_bench: Item, today: date
) -> None:
    station.units = "psi"
    save_site(station, tables=[])
    at = Desk(technician, make_charged_set(station, "S01", 300, today), "functional-test")
    at.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat())
    for step in ("look", "hoses", "cylinder-date"):
        at.answer(step, GOOD)
    assert 'name="unit" value="psi"' in at.client.get(at.path).content.decode()
    at.set(**{"pick_pressure-gauge": str(test_bench.pk)}, done_on=today.isoformat(), units="bar")
    assert 'name="unit" value="bar"' in at.client.get(at.path + "?step=charge").content.decode()
