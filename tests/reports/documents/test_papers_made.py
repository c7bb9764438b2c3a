"""Every paper is in the register of papers, and a correction names those it supersedes.

A8, A22, A23: what a correction changes is shown before it is saved, papers issued included.
"""

import hashlib
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from reports.documents.actions import PAPERS, SERVICE_RECORD, SET_PAPER, Made, make
from servicing.due.actions.corrections import correct_record, reach_of_correction
from servicing.due.actions.register import save_item
from servicing.due.actions.services import Service
from servicing.due.actions.sets import fit
from servicing.ledger.models import Record
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import chain_head
from servicing.papers.models import Carried, Paper, PapersAreAppendOnly
from servicing.papers.pure import described_anew
from servicing.papers.queries import paper_lines, papers_with, superseded
from tests.people import BLANK, approve, make_cylinder, make_item, passed, signed_in
from tests.reports.documents.papers import pages_of, text_of
from tests.servicing.hydrostatic.away import sent_away
from tests.worlds import world_fixture

DAY = timedelta(days=1)
CARD = "The card says otherwise."


@world_fixture
def cylinder(station: Site, technician: User) -> Item:
    return make_cylinder(station, "C0001", technician)


@world_fixture
def apparatus(station: Site, cylinder: Item, technician: User) -> Item:
    """A set with the cylinder in it since three weeks."""
    made = make_item(station, "S001", "set", model="Rygg", made_on=date(2020, 1, 1))
    approve(made, cylinder)
    fit(
        set_item=made,
        part=cylinder,
        on=today_at(station) - 20 * DAY,
        by=technician,
        entry_key="f",
        confirmed=True,
        note="looked at",
    )
    return made


def state_of(made: Made) -> str:
    return paper_lines(Paper.objects.filter(number=made.number))[0].state


def retest_of(cylinder: Item) -> Record:
    return history_of(cylinder).get(task="hydrostatic-retest")


def correct(record: Record, user: User, days: int = 30, reason: str = CARD) -> Record:
    return correct_record(
        record=record,
        service=earlier(record, days),
        reason=reason,
        user=user,
        entry_key=f"right {record.hash[:8]}",
    )


def earlier(record: Record, days: int = 30) -> Service:
    return Service(record.task, record.done_on - days * DAY, "pass", record.performed_by)


def change(item: Item, user: User | None = None, **known: object) -> None:
    held = Item.objects.select_related("type", "site").get(pk=item.pk)
    attributes = {name: getattr(held, name) for name in (*BLANK, "serial")}
    save_item(
        held,
        tag=held.tag,
        kind=held.type.kind,
        maker=held.type.maker,
        model=held.type.model,
        site=held.site,
        attributes={**attributes, **known},
        user=user,
        why=CARD,
    )


def edit_form(desk: Client, item: Item, **changed: str) -> dict[str, str]:
    form = desk.get(reverse("item-edit", args=[item.pk])).context["form"]
    kept = {name: value for name, value in form.initial.items() if value not in (None, "")}
    return {**{name: str(getattr(value, "pk", value)) for name, value in kept.items()}, **changed}


# What is kept of a paper --------------------------------------------------------------------


def test_each_paper_made_on_screen_is_in_the_register(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    sent = sent_away(cylinder.site, [cylinder], technician)
    desk = signed_in(technician)
    for name, pk, kind, items in (
        ("record-pdf", cylinder.pk, "service-record", {cylinder}),
        ("set-pdf", apparatus.pk, "set", {apparatus, cylinder}),
        ("consignment-pdf", sent.pk, "consignment-list", {cylinder}),
    ):
        answer = desk.get(reverse(name, args=[pk]))
        paper = Paper.objects.get(kind=kind)
        assert all(paper.number in page for page in pages_of(answer.content))
        assert paper.sha256 == hashlib.sha256(answer.content).hexdigest()
        assert (paper.made_by, paper.made_by_user) == ("Tekla Merrow", technician)
        assert {row.item for row in paper.carried.all()} == items
        held = paper.carried.get(item=cylinder)
        assert (held.head, held.position) == (chain_head(cylinder), 3)
        assert paper.replaces == []


def test_asking_what_there_is_or_sending_a_form_makes_no_paper(
    cylinder: Item, technician: User
) -> None:
    desk, path = signed_in(technician), reverse("record-pdf", args=[cylinder.pk])
    assert desk.head(path)["Content-Type"] == "application/pdf"
    assert desk.post(path).status_code == 405
    assert desk.get(path, {"on": "31 x"}).status_code == 422
    assert desk.get(path, {"known_by": "2001-01-01 00:00:00"}).status_code == 422
    assert not Paper.objects.exists()


def test_two_prints_of_one_thing_have_two_numbers_and_one_content(cylinder: Item) -> None:
    one, two = (make(SERVICE_RECORD, cylinder, user=None) for _ in range(2))
    assert one.number != two.number
    texts = [text_of(made.content).replace(made.number, "") for made in (one, two)]
    assert re.sub(r"\d\d:\d\d", "", texts[0]) == re.sub(r"\d\d:\d\d", "", texts[1])
    assert Paper.objects.count() == 2


def test_commands_enter_papers_too_and_none_that_could_not_be_written(
    apparatus: Item, cylinder: Item, tmp_path: Path
) -> None:
    call_command("report", "record", "C0001", "--out", str(tmp_path / "r.pdf"))
    call_command("report", "set", "S001", "--out", str(tmp_path / "s.pdf"))
    assert {paper.kind for paper in Paper.objects.all()} == {"service-record", "set"}
    assert {paper.made_by for paper in Paper.objects.all()} == {"command line"}
    digests = {hashlib.sha256((tmp_path / n).read_bytes()).hexdigest() for n in ("r.pdf", "s.pdf")}
    assert {paper.sha256 for paper in Paper.objects.all()} == digests
    with pytest.raises(CommandError, match="can't be written"):
        call_command("report", "record", "C0001", "--out", str(tmp_path / "no" / "r.pdf"))
    assert Paper.objects.count() == 2


def test_no_code_changes_or_deletes_a_paper(cylinder: Item) -> None:
    make(SERVICE_RECORD, cylinder, user=None)
    for row in (Paper.objects.get(), Carried.objects.get()):
        for change_it in (row.save, row.delete, type(row).objects.all().delete):
            with pytest.raises(PapersAreAppendOnly):
                change_it()
        with pytest.raises(PapersAreAppendOnly):
            type(row).objects.update(pk=7)


# What supersedes a paper --------------------------------------------------------------------


def test_a_correction_supersedes_the_papers_that_rest_on_the_record(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    papers = [make(SERVICE_RECORD, cylinder, user=None), make(SET_PAPER, apparatus, user=None)]
    assert [state_of(made) for made in papers] == ["stands", "stands"]
    right = correct(retest_of(cylinder), technician)
    assert [state_of(made) for made in papers] == ["superseded", "superseded"]
    why = f"record 1 of C0001 was corrected by record {right.position}: {CARD}"
    assert [each.why for each in paper_lines(papers_with([cylinder]))] == [(why,), (why,)]
    assert state_of(make(SERVICE_RECORD, cylinder, user=None)) == "stands"


def test_what_is_done_later_supersedes_nothing(cylinder: Item, technician: User) -> None:
    made = make(SERVICE_RECORD, cylinder, user=None)
    passed(cylinder, "external-inspection", today_at(cylinder.site), technician)
    correct(history_of(cylinder)[0], technician, days=1)
    assert state_of(made) == "stands", "the record came after the paper"


def test_a_paper_of_a_day_before_the_record_stands(cylinder: Item, technician: User) -> None:
    record = retest_of(cylinder)
    before = make(SERVICE_RECORD, cylinder, record.done_on - 40 * DAY, user=None)
    between = make(SERVICE_RECORD, cylinder, record.done_on - 10 * DAY, user=None)
    correct(record, technician, days=30)
    assert state_of(before) == "stands"
    assert state_of(between) == "superseded", "the right day is before that of the paper"


def test_what_was_known_at_a_moment_stays_known_then(cylinder: Item, technician: User) -> None:
    made = make(SERVICE_RECORD, cylinder, user=None, known_by=now())
    correct(retest_of(cylinder), technician)
    assert state_of(made) == "stands"


def test_the_list_for_the_house_rests_on_retests_and_on_what_the_cylinder_is(
    cylinder: Item, technician: User
) -> None:
    looked_at = history_of(cylinder).get(task="external-inspection")
    made = make(PAPERS[2], sent_away(cylinder.site, [cylinder], technician), user=None)
    correct(looked_at, technician)
    assert state_of(made) == "stands"
    correct(retest_of(cylinder), technician)
    assert state_of(made) == "superseded"


def test_another_description_supersedes_and_another_site_does_not(
    cylinder: Item, valley: Site
) -> None:
    made = make(SERVICE_RECORD, cylinder, user=None)
    held = Item.objects.get(pk=cylinder.pk)
    held.site = valley
    held.save()
    change(held)
    assert state_of(made) == "stands"
    change(cylinder, made_on=date(2018, 5, 1))
    told = paper_lines(Paper.objects.all())[0].why
    assert told == (f"C0001: made on, 2019-05-01 became 2018-05-01 ({CARD})",)


def test_what_is_said_otherwise_is_told_in_words() -> None:
    then: dict[str, object] = {
        "made_on": None,
        "marks": [],
        "made_to_month": False,
        "site": 1,
        "serial": "A",
    }
    then["tare_kg"], same = "4.1", {"tare_kg": "4.100", "serial": "A"}
    said = {
        "made_on": "2019-01-01",
        "marks": ["star"],
        "made_to_month": True,
        "site": 2,
    }
    assert described_anew(then, {**said, **same}) == [
        "made on, not known became 2019-01-01",
        "marks, nothing became star",
        "made to month, no became yes",
    ]


# A paper made anew --------------------------------------------------------------------------


def test_made_anew_it_names_what_it_replaces_once(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    old = [make(SERVICE_RECORD, cylinder, user=None) for _ in range(2)]
    old_set = make(SET_PAPER, apparatus, user=None)
    correct(retest_of(cylinder), technician)
    anew = make(SERVICE_RECORD, cylinder, user=None)
    text = text_of(anew.content)
    for each in old:
        assert f"Replaces {each.number}, as of" in text
    assert f"was corrected by record 4: {CARD} " in text
    assert set(Paper.objects.get(number=anew.number).replaces) == {each.number for each in old}
    assert "Replaces" not in text_of(make(SERVICE_RECORD, cylinder, user=None).content)
    assert old_set.number in text_of(make(SET_PAPER, apparatus, user=None).content)
    assert superseded(cylinder, "service-record", today_at(cylinder.site)) == []
    page = signed_in(technician).get(cylinder.get_absolute_url()).content.decode()
    assert page.count(f"Replaced by {anew.number}") == 2


# Before it is saved -------------------------------------------------------------------------


def test_the_made_date_of_a_cylinder_in_a_set_shows_dates_set_and_both_papers_first(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    """A8: preview lists old and new due dates and the two PDFs that are now superseded."""
    change(cylinder, design_life_years=15)  # so that the made date moves the end of its life
    record, of_set = (
        make(SERVICE_RECORD, cylinder, user=None),
        make(SET_PAPER, apparatus, user=None),
    )
    desk, before = signed_in(technician), TrailEntry.objects.count()
    path = reverse("item-edit", args=[cylinder.pk])
    sent = edit_form(desk, cylinder, made_on="2009-05-01", why=CARD)
    page = desk.post(path, sent).content.decode()
    assert "Check what the change of C0001 moves" in page
    assert "1 May 2034" in page
    assert "1 May 2024" in page
    assert "S001 now" in page
    assert page.count("cylinder C0001: service life is overdue") == 1
    assert record.number in page
    assert of_set.number in page
    assert Paper.objects.count() == 2
    assert Item.objects.get(pk=cylinder.pk).made_on == date(2019, 5, 1), "nothing is written"
    assert TrailEntry.objects.count() == before
    assert state_of(record) == "stands"
    again = desk.post(path, {**sent, "step": "change"})
    assert again.status_code == 200
    assert 'value="2009-05-01"' in again.content.decode()
    assert desk.post(path, {**sent, "step": "enter"}).status_code == 302
    assert Item.objects.get(pk=cylinder.pk).made_on == date(2009, 5, 1)
    assert (state_of(record), state_of(of_set)) == ("superseded", "superseded")


def test_a_change_that_reaches_nothing_is_saved_at_once(mask: Item, technician: User) -> None:
    desk = signed_in(technician)
    sent = edit_form(desk, mask, size="L")
    assert desk.post(reverse("item-edit", args=[mask.pk]), sent).status_code == 302
    assert Item.objects.get(pk=mask.pk).size == "L"


def test_a_correction_shows_sets_and_papers_before_it_is_entered(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    record, of_set = (
        make(SERVICE_RECORD, cylinder, user=None),
        make(SET_PAPER, apparatus, user=None),
    )
    wrong, count = retest_of(cylinder), Record.objects.count()
    reach = reach_of_correction(wrong, earlier(wrong, 2100), reason=CARD, user=technician)
    assert {each.paper.number for each in reach.papers} == {record.number, of_set.number}
    assert [(each.set, each.changes) for each in reach.sets] == [(apparatus, True)]
    assert any("hydrostatic retest is overdue" in why for why in reach.sets[0].after.reasons)
    assert "hydrostatic-retest" in {move.task for move in reach.moves}
    assert Record.objects.count() == count
    assert state_of(record) == "stands"
    desk = signed_in(technician)
    sent = {
        "key": "c" * 32,
        "step": "check",
        "reason": CARD,
        "task": wrong.task,
        "done_on": (wrong.done_on - 30 * DAY).isoformat(),
        "outcome": "pass",
        "performed_by": wrong.performed_by,
    }
    page = desk.post(
        reverse("correct-record", args=[cylinder.pk, wrong.position]), sent
    ).content.decode()
    assert "Papers that are superseded by it" in page
    assert record.number in page
    assert of_set.number in page
    assert Record.objects.count() == count


def test_the_pages_of_item_and_record_show_which_papers_are_superseded(
    apparatus: Item, cylinder: Item, technician: User
) -> None:
    made = make(SERVICE_RECORD, cylinder, user=None)
    wrong = retest_of(cylinder)
    correct(wrong, technician)
    desk = signed_in(technician)
    for path in (
        cylinder.get_absolute_url(),
        reverse("record", args=[cylinder.pk, wrong.position]),
    ):
        page = desk.get(path).content.decode()
        assert made.number in page, path
        assert "<strong>superseded</strong>: record 1 of C0001 was corrected" in page, path


def test_the_same_correction_twice_is_one(cylinder: Item, technician: User) -> None:
    made = make(SERVICE_RECORD, cylinder, user=None)
    first = correct(retest_of(cylinder), technician)
    right = replace(earlier(first, 5), note="again")
    correct_record(record=first, service=right, reason="Misread.", user=technician, entry_key="b")
    told = paper_lines(Paper.objects.filter(number=made.number))[0].why
    assert len(told) == 1, "the correction of a correction rests on a record the paper lacks"


def test_the_register_of_papers_lists_what_was_made_and_what_became_of_it(
    cylinder: Item, technician: User, auditor: User
) -> None:
    first = make(SERVICE_RECORD, cylinder, user=None)
    other = make_item(cylinder.site, "M9")
    second = make(SERVICE_RECORD, other, user=None)
    save_item(
        cylinder,
        tag=cylinder.tag,
        kind="cylinder",
        maker=cylinder.maker,
        model=cylinder.type.model,
        site=cylinder.site,
        attributes={**BLANK, "serial": "corrected"},
    )
    client = signed_in(auditor)
    rows = {
        "": {first.number, second.number},
        "of=m9": {second.number},
        "state=superseded": {first.number},
        "state=stands": {second.number},
        "kind=set": set(),
        f"since={today_at(other.site) + 3 * DAY}": set(),
    }
    for asked, wanted in rows.items():
        page = client.get(f"/papers/?{asked}").content.decode()
        assert {n for n in (first.number, second.number) if n in page} == wanted, asked
        assert f"{len(wanted)} paper" in page
    page = client.get("/papers/").content.decode()
    assert "serial, S-C0001 became corrected" in page
    assert f'href="/items/{other.pk}/">M9</a>' in page
    assert client.get("/papers/?since=yesterday").status_code == 422
