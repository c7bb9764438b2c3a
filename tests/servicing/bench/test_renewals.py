"""A part renewed at the bench is a record of its renewal too: previewed, entered, signed with it.

due/README 2, `from = "part-made"`: shelf time counts (DGUV R 112-190, 6.9.3, text). The disc of the
exhalation valve has four years (DGUV G 305-002, annex 2, text).
"""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth.models import User

from registry.items.models import Item
from registry.people.actions.authorisations import grant_authorisation
from registry.sites.models import Site
from servicing.bench.models import Draft
from servicing.bench.pure.course import Course, course_of
from servicing.bench.pure.procedure import Form
from servicing.bench.pure.recorded import renewals_of, said_of
from servicing.bench.pure.tables import read_procedures
from servicing.bench.pure.verdict import Answer, Word
from servicing.due.queries.engine import owed
from servicing.ledger.queries.records import history_of
from servicing.rules.pure.durations import Duration, add
from tests.people import RULES, make_item
from tests.published.cases import rules_of
from tests.published.test_procedures import procedures as published
from tests.servicing.bench.desk import Desk, said
from tests.servicing.bench.test_batches import ALL_SAID, Crate
from tests.servicing.bench.test_tables import SOUND

DISC = "disc-renewal"
FOUR_YEARS = Duration(48)


def records(item: Item) -> list[Any]:
    return list(history_of(item).order_by("position"))


def due(item: Item, task: str, on: date) -> date | None:
    return next(o.due_on for o in owed(item, on) if o.task == task)


def new_disc(today: date) -> tuple[date, dict[str, str]]:
    """Return the day a disc was made, and the answer that it was put in."""
    made = today - timedelta(days=200)
    return made, {"word": "done", "batch": "7731", "made_on": made.isoformat()}


def test_a_part_renewed_moves_its_date_from_the_day_it_was_made(
    desk: Desk, mask: Item, today: date
) -> None:
    made, answer = new_disc(today)
    before, after = due(mask, DISC, today), add(made, FOUR_YEARS)
    desk.answer_all(renewed_disc=answer)
    row = next(r for r in desk.check().context["rows"] if r["task"] == DISC)
    assert (row["before"].due_on, row["after"].due_on, row["moves"]) == (before, after, True)
    assert desk.sign().status_code == 302
    assert due(mask, DISC, today) == after
    renewal, test = records(mask)
    assert (renewal.task, renewal.outcome, renewal.part_made_on) == (DISC, "pass", made)
    assert (renewal.entry.parts[0].batch, renewal.note) == (
        "7731",
        "Renewed during the tightness test.",
    )
    assert renewal.rule.startswith("app-mask-disc")
    assert renewal.procedure == test.procedure
    assert test.task == "tightness-test"
    assert [s.meaning for s in renewal.signatures.all()] == ["performed"]


def test_a_part_that_was_not_renewed_has_no_record(desk: Desk, mask: Item) -> None:
    desk.answer_all()
    desk.sign()
    assert [record.task for record in records(mask)] == ["tightness-test"]


def test_a_part_is_renewed_even_where_the_test_failed(desk: Desk, mask: Item, today: date) -> None:
    made, answer = new_disc(today)
    bad = {"typed": "1.3", "unit": "mbar", "note": "leaks"}
    desk.answer_all(renewed_disc=answer, leak=bad)
    assert desk.sign().status_code == 302
    assert [(r.task, r.outcome) for r in records(mask)] == [
        (DISC, "pass"),
        ("tightness-test", "fail"),
    ]
    assert due(mask, DISC, today) == add(made, FOUR_YEARS)


def test_what_was_renewed_in_an_earlier_attempt_is_shown_and_signed_with_the_last(
    desk: Desk, mask: Item, today: date
) -> None:
    made, answer = new_disc(today)
    bad = {"typed": "1.3", "unit": "mbar", "note": "leaks"}
    desk.answer_all(renewed_disc=answer, leak=bad)
    desk.client.post(f"{desk.path}check/", {"act": "again"})
    desk.answer_all()
    row = next(r for r in desk.check().context["rows"] if r["task"] == DISC)
    assert row["after"].due_on == add(made, FOUR_YEARS)
    assert desk.sign().status_code == 302
    assert [(r.task, r.attempt, r.outcome) for r in records(mask)] == [
        (DISC, 1, "pass"),
        ("tightness-test", 1, "fail"),
        ("tightness-test", 2, "pass"),
    ]


def test_a_renewal_in_a_batch_is_shown_and_entered_too(
    technician: User, test_bench: Item, station: Site, today: date
) -> None:
    masks = [make_item(station, f"M{n:03}", made_on=date(2022, 1, 1)) for n in (1, 2)]
    crate, made = Crate(technician, test_bench), today - timedelta(days=200)
    for mask in masks:
        crate.scan(mask.tag)
    after = add(made, FOUR_YEARS)
    crate.read(masks[0], "0.2", **{"batch_renewed-disc": "7731", "made_renewed-disc": str(made)})
    crate.read(masks[1], "0.2")
    page = crate.client.get(f"{crate.path}check/")
    moved = [row["moved"] for row in page.context["rows"]]
    assert [(each["task"], each["after"].due_on) for each in moved[0]] == [(DISC, after)]
    assert moved[1] == []
    assert "Sign all 3 records" in page.content.decode()
    assert f'<time datetime="{after}">' in page.content.decode()
    assert crate.sign(**ALL_SAID).status_code == 302
    assert [r.task for r in records(masks[0])] == [DISC, "tightness-test"]
    assert [r.task for r in records(masks[1])] == ["tightness-test"]
    assert due(masks[0], DISC, today) == after
    done = crate.client.get(f"{crate.path}done/").content.decode()
    assert "2 items signed: 2 pass, 0 fail" in done
    assert "3 records." in done
    assert "</a>, disc renewal" in done
    assert f"batch 7731, made {made.day} {made:%b %Y}" in done


def test_a_form_sent_twice_enters_a_renewal_once(desk: Desk, mask: Item, today: date) -> None:
    desk.answer_all(renewed_disc=new_disc(today)[1])
    seen, key = desk.check().context["seen"], Draft.objects.get().entry_key
    for _ in range(2):
        form = {"act": "sign", "seen": seen, "key": key}
        assert desk.client.post(f"{desk.path}check/", form).status_code == 302
    assert len(records(mask)) == 2


def test_a_made_date_that_was_misread_is_corrected_and_the_date_with_it(
    desk: Desk, mask: Item, today: date
) -> None:
    made, answer = new_disc(today)
    desk.answer_all(renewed_disc=answer)
    desk.sign()
    path, right = f"/items/{mask.pk}/records/1/correct/", made - timedelta(days=400)
    form = desk.client.get(path).context["form"]
    sent = {name: value for name, value in form.initial.items() if value is not None}
    sent |= {
        "part_made_on": right.isoformat(),
        "reason": "misread the year on the disc",
        "key": "k" * 32,
    }
    check = desk.client.post(path, {**sent, "step": "check"})
    assert check.context["form"].errors == {}
    hidden = {field.name: field.value() or "" for field in check.context["form"].hidden()}
    entered = {**hidden, "step": "enter"}
    assert desk.client.post(path, entered)["Location"] == f"/items/{mask.pk}/records/3/"
    assert due(mask, DISC, today) == add(right, FOUR_YEARS)
    corrected = records(mask)[-1]
    assert [(p.batch, p.made_on) for p in corrected.entry.parts] == [("7731", right)]


def test_a_part_made_after_it_was_put_in_is_refused(desk: Desk, mask: Item, today: date) -> None:
    tomorrow = (today + timedelta(days=1)).isoformat()
    desk.answer_all(renewed_disc={"word": "done", "batch": "1", "made_on": tomorrow})
    assert "The part was made after it was fitted" in desk.check().content.decode()
    assert "The part was made after it was fitted" in said(desk.sign())
    assert not records(mask)


def test_who_may_not_renew_the_part_does_not_sign_that_they_did(
    desk: Desk, mask: Item, manager: User, second_manager: User, today: date
) -> None:
    grant_authorisation(
        person=second_manager,
        task=DISC,
        valid_from=today - timedelta(days=9),
        valid_until=None,
        user=manager,
    )
    desk.answer_all(renewed_disc=new_disc(today)[1])
    assert "is not authorised for disc renewal" in desk.check().content.decode()
    assert desk.sign().status_code == 422
    assert not records(mask)


# ── Plain values ────────────────────────────────────────────────────────────────────────────────

TWO_DISCS = SOUND + "".join(
    f"""
[[procedure.step]]
id = "{name}"
form = "renew"
text = "Renew the {name}."
part = "{name}"
renews = "{task}"
optional = true
"""
    for name, task in (("exhalation", DISC), ("inhalation", DISC), ("speech", "tightness-test"))
)


def course(**made: date | None) -> Course:
    table, problems = read_procedures("masks.toml", TWO_DISCS)
    assert problems == []
    given = [Answer(step, Word.DONE, batch=uuid4().hex, made_on=on) for step, on in made.items()]
    return course_of(table.procedures[0], given, {}, {})


@pytest.mark.parametrize(
    ("made", "order"),
    [
        ({"exhalation": date(2026, 1, 5), "inhalation": date(2025, 3, 1)}, ["ex", "in"]),
        ({"exhalation": date(2025, 3, 1), "inhalation": date(2026, 1, 5)}, ["in", "ex"]),
        ({"exhalation": date(2025, 3, 1), "inhalation": None}, ["in", "ex"]),
    ],
)
def test_of_two_parts_of_one_task_the_one_made_first_counts(
    made: dict[str, date | None], order: list[str]
) -> None:
    """The latest record is what the next date counts from (due/README 2), so it comes last."""
    found = renewals_of(course(**made))
    assert [renewal.step[:2] for renewal in found] == order
    assert [renewal.part.made_on for renewal in found] == [made[r.step] for r in found]


def test_a_part_that_the_procedure_itself_is_about_has_no_second_record() -> None:
    done = course(speech=date(2025, 3, 1), exhalation=date(2024, 1, 1))
    assert [renewal.step for renewal in renewals_of(done)] == ["exhalation"]
    told = said_of(done, {}, {})
    assert told.part_made_on == date(2025, 3, 1)
    assert len(told.parts) == 2


WITHOUT_A_TASK = {
    "cylinder-internal seal": "no rule asks for the valve's sealing ring by itself",
    "valve-inspection seat": "its own task, valve-overhaul, is that record",
    "compressor-filter-change cartridge": "its own task, filter-change, is that record",
    "rebreather-absorbent in": "its own task, absorbent-renewal, is that record",
    "cylinder-valve-overhaul seat": "its own task, overhaul, is that record",
    "cylinder-valve-overhaul seals": "its own task, overhaul, is that record",
    "cylinder-valve-overhaul disc": "its own task, overhaul, is that record",
}


def test_each_part_of_the_procedures_answers_the_renewal_that_rules_ask_for() -> None:
    asked = {
        (kind, rule.task)
        for path in RULES.glob("*.toml")
        for rule in rules_of(path.stem)
        if rule.counted_from == "part-made"
        for name, test in rule.when.tests
        if name == "kind"
        for kind in getattr(test, "values", ())
    }
    for procedure in published().values():
        for step in procedure.steps:
            if step.form is not Form.RENEW or f"{procedure.id} {step.id}" in WITHOUT_A_TASK:
                continue
            for kind in procedure.kinds:
                assert (kind, step.renews) in asked, (procedure.id, step.id)
