"""Rules made on screen: a source, two managers, every date shown before, and never longer."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import Group, User
from django.core.management import call_command
from django.db import IntegrityError, transaction

from registry.items.models import Item
from registry.people.actions.rights import NotAllowed
from registry.people.pure import PRESENCE
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.actions.local_rules import (
    Draft,
    ProposalRefused,
    approve_rule,
    preview_draft,
    propose_rule,
    reject_rule,
)
from servicing.due.actions.register import load_rules, save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.queries.engine import explained
from servicing.due.queries.rows import today_q
from servicing.rules.actions import RuleClash
from servicing.rules.models import Adoption, RuleProposal, RuleTable, RuleVersion
from servicing.rules.pure.local import local_faults, rule_id
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table
from tests.people import PASSWORD, make_item, signed_in

LEAK = "tightness-test"


def row(**more: Any) -> dict[str, Any]:
    """A maker's rule that masks are tested every four months; sound without its id and day."""
    return {
        "task": LEAK,
        "level": "maker",
        "bars": "use",
        "when": {"kind": ["mask"], "maker": ["Pellwright"]},
        "every": "P4M",
        "from": "in-service",
        "notice": "P1M",
        "source": "Pellwright manual 4711, section 8.2",
        "edition": "third, March 2024",
        "checked_on": date(2026, 11, 25),
        "seen": "text",
        **more,
    }


def draft(site: Site, **more: Any) -> Draft:
    return Draft(site, today_at(site), row(**more))


def due(task: str = LEAK) -> dict[str, tuple[date | None, str]]:
    """Return (due date, rule) of a task today, by tag."""
    rows = StoredObligation.objects.filter(today_q(), task=task)
    return {r.item.tag: (r.due_on, r.rule.rule_id) for r in rows.select_related("item", "rule")}


def everything_due() -> dict[tuple[str, str], tuple[date | None, str]]:
    rows = StoredObligation.objects.filter(today_q()).select_related("item", "rule")
    return {(r.item.tag, r.task): (r.due_on, r.rule.rule_id) for r in rows}


def test_a_rule_counts_only_after_a_second_manager_approved_it(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    before = due()
    proposal = propose_rule(draft(valley), by=manager)
    assert proposal.waits
    assert due() == before
    assert approve_rule(proposal, by=second_manager) == 1
    # In service on 1 April 2020 and never tested: six months before, four now.
    assert before["00123"] == (date(2020, 10, 1), "app-mask-test")
    assert due()["00123"] == (date(2020, 8, 1), f"local-val-{proposal.pk}")
    assert recompute() == 0


def test_the_preview_shows_exactly_the_dates_that_then_move(
    mask: Item, valley: Site, station: Site, manager: User, second_manager: User
) -> None:
    make_item(station, "OTHER", maker="Dovrik", made_on=date(2020, 1, 1))
    make_item(valley, "C1", kind="cylinder", made_on=date(2020, 1, 1))
    before = everything_due()
    proposal = propose_rule(draft(valley), by=manager)
    moves = preview_draft(draft(valley))
    assert everything_due() == before
    approve_rule(proposal, by=second_manager)
    after = everything_due()
    moved = {key for key in before | after if before.get(key) != after.get(key)}
    assert {(move.tag, move.task) for move in moves} == moved == {("00123", LEAK)}
    assert moves[0].after is not None
    assert moves[0].after.due_on == after["00123", LEAK][0]
    assert moves[0].days == (date(2020, 8, 1) - date(2020, 10, 1)).days
    assert moves[0].by_how_much == "61 days earlier"
    assert "every 6 months" in moves[0].why
    assert "every 4 months (Pellwright manual 4711, section 8.2)" in moves[0].why


def test_a_longer_interval_moves_nothing(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    before = everything_due()
    assert preview_draft(draft(valley, every="P10Y")) == []
    approve_rule(propose_rule(draft(valley, every="P10Y"), by=manager), by=second_manager)
    assert everything_due() == before


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"level": "law"}, "level must be maker or local"),
        ({"level": "standard"}, "level must be maker or local"),
        ({"satisfied_by": ["cleaning"]}, "satisfied_by can't stand in a local rule"),
        ({"valid_until": date(2030, 1, 1)}, "valid_until can't stand in a local rule"),
        ({"unless": {"marks": ["x"]}}, "unless can't stand in a local rule"),
        ({"late_counts_back": "P2M"}, "late_counts_back can't stand in a local rule"),
        ({"source": ""}, "source is missing"),
        ({"edition": ""}, "edition is missing"),
        ({"every": "often"}, "every is not a duration"),
        ({"when": {}}, "when"),
    ],
)
def test_what_could_lengthen_or_lacks_a_source_is_refused(
    mask: Item, valley: Site, manager: User, change: dict[str, Any], words: str
) -> None:
    with pytest.raises(ProposalRefused, match=words):
        propose_rule(draft(valley, **change), by=manager)
    assert not RuleProposal.objects.exists()
    assert not TrailEntry.objects.filter(what="local rule").exists()


def test_a_marked_life_is_no_local_rule() -> None:
    life = {**row(task="service-life", life="as-marked"), "id": "local-0"}
    del life["every"]
    assert any(key == "life" for key, _, _ in local_faults(life))


def test_who_asked_cannot_approve_under_any_role(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    proposal = propose_rule(draft(valley), by=manager)
    for names in (["manager"], ["manager", "technician"], ["technician"], ["auditor"]):
        manager.groups.set(Group.objects.filter(name__in=names))
        with pytest.raises((ProposalRefused, NotAllowed), match=r"another manager|Only managers"):
            approve_rule(proposal, by=manager)
    assert RuleProposal.objects.get().waits
    assert not RuleVersion.objects.filter(table__site=valley).exists()


def test_the_database_itself_refuses_one_person_for_both(
    mask: Item, valley: Site, manager: User
) -> None:
    proposal = propose_rule(draft(valley), by=manager)
    with pytest.raises(IntegrityError, match="rule_approved_by_another"), transaction.atomic():
        RuleProposal.objects.filter(pk=proposal.pk).update(
            outcome="approved", decided_by=manager, decided_at=now()
        )


def test_only_managers_ask_and_approve(
    mask: Item, valley: Site, manager: User, technician: User
) -> None:
    with pytest.raises(NotAllowed, match="Only managers"):
        propose_rule(draft(valley), by=technician)
    with pytest.raises(NotAllowed, match="Only managers"):
        approve_rule(propose_rule(draft(valley), by=manager), by=technician)


def test_a_second_approval_finds_it_decided_and_makes_nothing(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    proposal = propose_rule(draft(valley), by=manager)
    # Two managers read the same waiting proposal; each holds a copy of the row as it waited.
    late = RuleProposal.objects.get(pk=proposal.pk)
    approve_rule(proposal, by=second_manager)
    with pytest.raises(ProposalRefused, match="approved already, by marek"):
        approve_rule(late, by=second_manager)
    with pytest.raises(ProposalRefused, match="approved already"):
        reject_rule(late, by=second_manager, reason="too late")
    assert RuleVersion.objects.filter(table__site=valley).count() == 1


def test_a_rejected_rule_never_counts_and_says_why(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    proposal = propose_rule(draft(valley), by=manager)
    with pytest.raises(ProposalRefused, match="Say why"):
        reject_rule(proposal, by=second_manager, reason=" ")
    reject_rule(proposal, by=second_manager, reason="the manual says six")
    with pytest.raises(ProposalRefused, match="rejected already"):
        approve_rule(proposal, by=second_manager)
    assert RuleProposal.objects.get().remark == "the manual says six"
    assert not RuleVersion.objects.filter(table__site=valley).exists()


def test_a_changed_rule_leaves_the_old_one_for_old_days(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    today = today_at(valley)
    first = propose_rule(draft(valley), by=manager)
    approve_rule(first, by=second_manager)
    old = f"local-val-{first.pk}"
    later = today + timedelta(days=40)
    change = Draft(valley, later, row(every="P3M"), replaces=old)
    with pytest.raises(ProposalRefused, match="Say why"):
        propose_rule(change, by=manager)
    second_one = propose_rule(change, by=manager, reason="the maker says three")
    approve_rule(second_one, by=second_manager)
    new = f"local-val-{second_one.pk}"

    def governs(on: date) -> str:
        _, tasks = explained(mask, on)
        return next(t.obligation.rule.id for t in tasks if t.obligation.task == LEAK)

    assert governs(today - timedelta(days=1)) == "app-mask-test"  # nobody had asked for it yet
    assert governs(today) == governs(later - timedelta(days=1)) == old
    assert governs(later) == new
    assert RuleVersion.objects.filter(rule_id=old).count() == 2
    assert recompute() == 0


def test_an_ended_rule_leaves_the_published_ones(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    before = due()
    proposal = propose_rule(draft(valley), by=manager)
    approve_rule(proposal, by=second_manager)
    end = Draft(valley, today_at(valley), replaces=f"local-val-{proposal.pk}")
    assert [move.by_how_much for move in preview_draft(end)] == ["61 days later"]
    approve_rule(propose_rule(end, by=manager, reason="the maker took it back"), by=second_manager)
    assert due() == before
    with pytest.raises(ProposalRefused, match="is not in force"):
        preview_draft(end)


def test_a_local_service_life_ends_an_item_sooner(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    both = {"bars": "use-and-filling"}
    life = row(task="service-life", life="P10Y", **{"from": "made", "notice": "P1Y"}, **both)
    del life["every"]
    approve_rule(propose_rule(Draft(valley, today_at(valley), life), by=manager), by=second_manager)
    assert due("service-life")["00123"][0] == date(2030, 3, 10)


def test_each_step_is_in_the_trail(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    one = propose_rule(draft(valley), by=manager)
    approve_rule(one, by=second_manager)
    reject_rule(
        propose_rule(draft(valley, every="P5M"), by=manager), by=second_manager, reason="no"
    )
    entries = TrailEntry.objects.filter(what="local rule").order_by("number")
    assert [(entry.by_user, entry.why) for entry in entries] == [
        (manager, ""),
        (second_manager, ""),
        (manager, ""),
        (second_manager, "no"),
    ]
    assert "Pellwright manual 4711" in entries[0].after
    assert f"approved as local-val-{one.pk}" in entries[1].after


def test_files_neither_end_nor_meet_a_site_s_own_table(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    approve_rule(propose_rule(draft(valley), by=manager), by=second_manager)
    after = everything_due()
    call_command("load_rules", verbosity=0)
    save_site(valley, tables=["iso-en-cylinders", "general-apparatus"])
    assert everything_due() == after
    assert Adoption.objects.filter(table__site=valley, ended_at=None).count() == 1
    text = (
        'table = "local-val"\ntitle = "t"\njurisdiction = "x"\ncaution = "c"\n[[rule]]\n'
        'id = "local-val-1"\ntask = "overhaul"\nlevel = "law"\nwhen = { kind = ["mask"] }\n'
        'every = "P1Y"\nfrom = "made"\nsource = "invented"\nseen = "practice"\n'
    )
    _, problems = read_table("local-val.toml", text)
    assert {(p.column, "begins with local-" in p.remedy) for p in problems} == {
        ("table", True),
        ("id", True),
    }
    name = RuleTable.objects.get(site=valley).name
    with pytest.raises(RuleClash, match="made on screen"):
        load_rules([Table(name, "t", "x", "c", ())])


def test_ids_stay_words_for_any_site_code() -> None:
    assert rule_id("TVR/Nord 7", 12) == "local-tvr-nord-7-12"
    assert rule_id("Ü", 3) == "local-site-3"


def test_a_rule_speaks_of_its_site_and_those_below_only(
    mask: Item, valley: Site, station: Site, manager: User, second_manager: User
) -> None:
    top = make_item(valley, "TOP", made_on=date(2020, 3, 10), in_service_on=date(2020, 4, 1))
    before = due()
    approve_rule(propose_rule(draft(station), by=manager), by=second_manager)
    assert due()[top.tag] == before[top.tag]
    assert due()["00123"][0] == date(2020, 8, 1)


FORM = {
    "kind": ["mask"],
    "maker": "Pellwright",
    "task": LEAK,
    "how": "every",
    "number": "4",
    "unit": "M",
    "counted_from": "in-service",
    "bars": "use",
    "level": "maker",
    "source": "Pellwright manual 4711, section 8.2",
    "edition": "third, March 2024",
    "seen": "text",
}


def test_the_whole_road_on_screen(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    asking, deciding = signed_in(manager), signed_in(second_manager)
    typed = {**FORM, "site": valley.pk}
    check = asking.post("/rules/local/add/", {**typed, "step": "check"}).content.decode()
    assert "1 date would move" in check
    assert "61 days earlier" in check
    assert not RuleProposal.objects.exists()
    sent = asking.post("/rules/local/add/", {**typed, "step": "propose"})
    proposal = RuleProposal.objects.get()
    assert (sent.status_code, sent["Location"]) == (302, proposal.get_absolute_url())
    own = asking.get(sent["Location"]).content.decode()
    assert "another manager must approve it" in own
    assert "Approve: it counts" not in own
    refused = asking.post(sent["Location"], {"step": "approve"})
    assert refused.status_code == 422
    assert "You asked for this rule yourself" in refused.content.decode()
    assert "61 days earlier" in deciding.get(sent["Location"]).content.decode()
    assert deciding.post(sent["Location"], {"step": "approve"}).status_code == 302
    assert due()["00123"][0] == date(2020, 8, 1)
    listed = deciding.get("/rules/local/").content.decode()
    assert f"local-val-{proposal.pk}" in listed
    assert "approved by Marek Merrow" in listed
    change = f"/rules/local/local-val-{proposal.pk}/change/"
    assert 'value="4"' in asking.get(change).content.decode()
    shorter = {**FORM, "number": "3", "reason": "the maker says three", "step": "propose"}
    assert asking.post(change, shorter).status_code == 302
    end = f"/rules/local/local-val-{proposal.pk}/end/"
    assert asking.post(end, {"reason": "gone", "step": "propose"}).status_code == 302
    assert RuleProposal.objects.filter(outcome="").count() == 2


CLOCK = {
    "by_month": "on",
    "late": "due-date",
    "out_counts": "on",
    "early_months": "1",
    "clause": "section 8.3, last sentence",
}


def test_a_rule_may_count_as_its_source_writes_it(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    """DEVELOPERS.md, "How a law counts": all of it may be asked for on screen."""
    asking = signed_in(manager)
    typed = {**FORM, **CLOCK, "site": valley.pk}
    check = asking.post("/rules/local/add/", {**typed, "step": "check"}, follow=True)
    said = check.content.decode()
    assert "good through the end of the month (section 8.3, last sentence)" in said
    assert "a pass up to 1 month early keeps the due date" in said
    shown = check.context["moves"][0].after.due_on
    sent = asking.post("/rules/local/add/", {**typed, "step": "propose"})
    approve_rule(RuleProposal.objects.get(), by=second_manager)
    # In service on 1 April 2020 and four months: by month, so through the end of August.
    assert due()["00123"][0] == shown == date(2020, 8, 31)
    assert "good through the end of the month" in asking.get(sent["Location"]).content.decode()
    late = Service(LEAK, today_at(valley), "pass", "Tekla Merrow")
    log_service(item=mask, service=late, user=manager, entry_key="late")
    sheet = asking.get(f"/items/{mask.pk}/").content.decode()
    assert "(section 8.3, last sentence)" in sheet
    change = f"/rules/local/local-val-{RuleProposal.objects.get().pk}/change/"
    form = asking.get(change).context["form"]
    assert {name: form[name].value() for name in CLOCK} == {
        **CLOCK,
        "by_month": True,
        "out_counts": True,
        "early_months": 1,
    }


def test_what_is_told_on_approval_is_what_was_shown_before(
    mask: Item, valley: Site, station: Site, manager: User, second_manager: User
) -> None:
    # A mask used yesterday is computed afresh like the other one, and no date of it moves.
    used = make_item(station, "USED", made_on=date(2020, 3, 10), in_service_on=date(2020, 4, 1))
    service = Service("use", today_at(station) - timedelta(days=1), "pass", "Tekla Merrow")
    for task in ("tightness-test", "use"):
        log_service(item=used, service=replace(service, task=task), user=manager, entry_key=task)
    proposal = propose_rule(draft(valley), by=manager)
    shown = preview_draft(draft(valley))
    assert [move.tag for move in shown] == ["00123"]
    page = signed_in(second_manager)
    page.post(proposal.get_absolute_url(), {"step": "approve"})
    assert "Dates that moved: 1." in page.get(proposal.get_absolute_url()).content.decode()


def test_who_was_away_from_the_screen_approves_with_the_password(
    mask: Item, valley: Site, manager: User, second_manager: User
) -> None:
    proposal = propose_rule(draft(valley), by=manager)
    page, deciding = proposal.get_absolute_url(), signed_in(second_manager)
    assert "Your password" not in deciding.get(page).content.decode()
    before = due()
    with time_machine.travel(now() + PRESENCE):
        assert "Your password" in deciding.get(page).content.decode()
        for password, words in [("", "signing needs it"), ("wrong", "this is not your password")]:
            answer = deciding.post(page, {"step": "approve", "password": password})
            assert answer.status_code == 422
            assert answer.content.decode().count(words) == 2, "at the top and at the field"
            assert due() == before
        assert TrailEntry.objects.filter(what="signing-refused").exists()
        own = signed_in(manager)
        assert "Your password" not in own.get(page).content.decode()
        answer = deciding.post(page, {"step": "approve", "password": PASSWORD})
        assert answer.status_code == 302
        assert due()["00123"][0] == date(2020, 8, 1)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"source": ""}, "Source: write where it stands"),
        ({"edition": ""}, "Edition or date of the source: write which"),
        ({"kind": []}, "Kinds of item: tick at least one"),
        ({"number": ""}, "How many: write a number"),
        ({"number": "0"}, "How many: it must be at least 1"),
        ({"how": "calendar"}, "Calendar period: choose one"),
        ({"how": "after"}, "After which events: tick at least one"),
        ({"how": "life"}, "a service life is the task service life"),
        ({"task": "service-life"}, "a service life comes once"),
        ({"level": "law"}, "law"),
        ({"on": "2020-01-01"}, "is past"),
        ({"by_month": "on"}, "write the sentence that says how time counts"),
        ({"how": "calendar", "period": "month", **CLOCK}, "this goes with every so many days"),
    ],
)
def test_what_is_wrong_is_said_at_the_field_and_what_was_typed_stays(
    mask: Item, valley: Site, manager: User, change: dict[str, object], words: str
) -> None:
    typed = {**FORM, "site": valley.pk, "step": "check", "note": "kept as typed", **change}
    answer = signed_in(manager).post("/rules/local/add/", typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert page.count(words) >= 2, "at the top and at the field"
    assert "kept as typed" in page
