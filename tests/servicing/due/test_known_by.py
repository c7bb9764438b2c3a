"""Twice dated: what was required on a day, as it was known at a moment (A11)."""

import os
import random
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from time import sleep

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from reports.documents.queries.assembly import set_paper
from reports.documents.queries.record import service_record
from servicing.desk.work.forms.questions import DueForm
from servicing.due.actions.corrections import correct_record
from servicing.due.actions.local_rules import Draft, approve_rule, propose_rule
from servicing.due.actions.register import load_rules, save_item, save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.store import recompute
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.engine import NotKnownThen, explained
from servicing.due.queries.rows import DueQuestion, due_rows
from servicing.ledger.models import Record
from servicing.rules.models import RuleVersion
from servicing.rules.pure.tables import read_table
from servicing.rules.queries import adopted_now
from tests.people import BLANK, RULES, make_item, signed_in
from tests.reports.documents.papers import printing

STEPS = int(os.environ.get("WALK_STEPS", "150"))
"""Writes of the random walk; a long one says more (DEVELOPERS.md, Checks)."""
TASKS = ("tightness-test", "cleaning", "use", "periodic-inspection", "disc-renewal")


def changed(item: Item, **known: object) -> Item:
    """Change what is known of an item on screen's road."""
    fresh = Item.objects.select_related("type", "site").get(pk=item.pk)
    stays = {name: getattr(fresh, name) for name in BLANK}
    return save_item(
        fresh,
        tag=fresh.tag,
        kind=fresh.type.kind,
        maker=fresh.maker,
        model=fresh.type.model,
        site=known.pop("site", fresh.site),  # type: ignore[arg-type]
        attributes={**stays, "serial": fresh.serial, **known},
    )


def answer(item: Item, on: date, known_by: datetime | None) -> object:
    try:
        standing, tasks = explained(Item.objects.get(pk=item.pk), on, known_by)
    except NotKnownThen:
        return None
    owed = [(t.obligation.task, t.obligation.due_on, t.obligation.rule, t.dropped) for t in tasks]
    return standing, owed


class Walk:
    """Random writes to a small register, each by the road that people take."""

    def __init__(self, valley: Site, station: Site, user: User, managers: list[User]) -> None:
        self.dice = random.Random(20261125)
        self.sites, self.user, self.managers = (valley, station), user, managers
        self.own: list[tuple[Site, str]] = []
        self.today = today_at(valley)
        self.items = [make_item(station, f"M{n}", made_on=date(2019, 1 + n, 28)) for n in range(3)]

    def step(self) -> None:
        """Do one of the writes that can move a date."""
        roads: list[Callable[[], object]] = [self.log, self.edit, self.move, self.correct]
        seldom: list[Callable[[], object]] = [
            self.adopt,
            self.rename,
            self.rules,
            self.ours,
            self.ours,
        ]
        self.dice.choice(seldom if self.dice.random() < 0.05 else roads)()

    def day(self) -> date:
        return self.today - timedelta(days=self.dice.randrange(0, 1500))

    def asked_day(self) -> date:
        """Return a day of the past, or one from today on, when rules of our own count."""
        return self.day() if self.dice.random() < 0.5 else self.today + timedelta(days=20)

    def log(self) -> None:
        service = Service(
            task=self.dice.choice(TASKS),
            done_on=self.day(),
            outcome=self.dice.choice(["pass", "pass", "pass", "fail"]),
            performed_by="Tekla Merrow",
            part_made_on=None,
        )
        key = f"{self.dice.random()}"
        log_service(item=self.any(), service=service, user=self.user, entry_key=key)

    def correct(self) -> None:
        """Say that a record never happened, or happened on another day."""
        standing = Record.objects.in_force().exclude(outcome="void").order_by("pk")
        record = standing.filter(item=self.any()).last()
        if record is None:
            return
        service = Service(record.task, self.day(), "pass", "Tekla Merrow")
        correct_record(
            record=record,
            service=self.dice.choice([None, service]),
            reason="the walk",
            user=self.user,
            entry_key=f"{self.dice.random()}",
        )

    def edit(self) -> None:
        changed(self.any(), made_on=date(2018, self.dice.randrange(1, 13), 1))

    def move(self) -> None:
        changed(self.any(), site=self.dice.choice(self.sites))

    def adopt(self) -> None:
        tables = ["general-apparatus", "iso-en-cylinders"]
        save_site(self.sites[0], tables=tables[: self.dice.randrange(0, 3)])

    def rename(self) -> None:
        site = self.dice.choice(self.sites)
        site.name = f"Place {self.dice.random()}"
        held = [name for pk, name in adopted_now() if pk == site.pk]
        save_site(site, tables=held)

    def rules(self) -> None:
        months = self.dice.randrange(3, 9)
        text = (RULES / "general-apparatus.toml").read_text().replace('"P6M"', f'"P{months}M"')
        includes = 'includes = ["us-apparatus"]\n' if self.dice.random() < 0.5 else ""
        load_rules([read_table("general-apparatus.toml", includes + text)[0]])

    def ours(self) -> None:
        """Make, change or end a rule of a site's own, by two managers."""
        site, replaces = self.dice.choice(self.sites), ""
        if self.own and self.dice.random() < 0.4:
            site, replaces = self.own.pop(self.dice.randrange(len(self.own)))
        row: dict[str, object] | None = {
            "task": self.dice.choice(TASKS[:2]),
            "level": "maker",
            "bars": "use",
            "when": {"kind": ["mask"]},
            "every": f"P{self.dice.randrange(1, 5)}M",
            "from": "in-service",
            "source": "an invented manual",
            "edition": "first",
            "checked_on": self.today,
            "seen": "practice",
        }
        ends = replaces and self.dice.random() < 0.5
        draft = Draft(site, self.today, None if ends else row, replaces)
        asks, decides = self.managers
        proposal = propose_rule(draft, by=asks, reason="the walk")
        approve_rule(proposal, by=decides)
        if not ends:
            proposal.refresh_from_db()
            self.own.append((site, proposal.rule_id))

    def any(self) -> Item:
        return self.dice.choice(self.items)


@pytest.mark.long
def test_nothing_entered_later_changes_an_answer(
    valley: Site, station: Site, technician: User, manager: User, second_manager: User
) -> None:
    walk = Walk(valley, station, technician, [manager, second_manager])
    asked: list[tuple[Item, date, datetime, object]] = []
    lists: list[tuple[DueQuestion, list[DueRow]]] = []
    moved = 0
    for step in range(STEPS):
        if step % 25 == 0:
            site = walk.dice.choice(walk.sites)
            question = DueQuestion(on=walk.asked_day(), site=site, kind="mask", known_by=now())
            lists.append((question, due_rows(question)))
        item, on, moment = walk.any(), walk.asked_day(), now()
        asked.append((item, on, moment, answer(item, on, moment)))
        walk.step()
        for item, on, moment, was in walk.dice.sample(asked, min(2, len(asked))):
            assert answer(item, on, moment) == was, (item.tag, on, moment)
        moved += answer(item, on, None) != was
    assert all(due_rows(question) == rows for question, rows in lists)
    assert any(due_rows(replace(question, known_by=None)) != rows for question, rows in lists)
    # The walk did move dates: without `known_by` many answers are others by now.
    assert moved > STEPS / 10
    # And rules of the sites' own were made, changed and ended on the way.
    assert RuleVersion.objects.exclude(table__site=None).count() > STEPS / 100
    assert recompute() == 0


def test_a_record_back_dated_today_changes_today_s_answer_only(
    mask: Item, technician: User
) -> None:
    before = now()
    on = today_at(mask.site) - timedelta(days=30)
    was = answer(mask, on, before)
    service = Service("tightness-test", on - timedelta(days=1), "pass", "Tekla Merrow")
    log_service(item=mask, service=service, user=technician, entry_key="k")
    assert answer(mask, on, before) == was
    assert answer(mask, on, None) != was


def test_an_item_entered_later_was_not_known(mask: Item) -> None:
    early = datetime(2020, 1, 1, tzinfo=UTC)
    with pytest.raises(NotKnownThen, match="00123 was not in the register"):
        explained(mask, date(2026, 1, 1), early)
    assert due_rows(DueQuestion(on=date(2026, 1, 1), known_by=early)) == []


def test_the_list_agrees_with_the_single_answers(mask: Item, station: Site) -> None:
    moment = now()
    changed(mask, made_on=date(2020, 3, 1))
    make_item(station, "LATER", made_on=date(2020, 1, 1))
    on = date(2026, 1, 1)
    rows = due_rows(DueQuestion(on=on, known_by=moment))
    assert {row.tag for row in rows} == {"00123"}
    _, tasks = explained(mask, on, moment)
    owed = {(t.obligation.task, t.obligation.due_on) for t in tasks if not t.dropped}
    assert {(row.task, row.due_on) for row in rows} == owed
    assert due_rows(replace(DueQuestion(on=on), known_by=now())) == due_rows(DueQuestion(on=on))


def test_the_list_of_a_site_is_of_what_stood_there_then(
    mask: Item, valley: Site, station: Site
) -> None:
    moment, on = now(), date(2026, 1, 1)
    here = DueQuestion(on=on, site=station, kind="mask", known_by=moment)
    was = due_rows(here)
    assert {row.tag for row in was} == {"00123"}
    changed(mask, site=valley)
    assert due_rows(here) == was
    assert due_rows(replace(here, known_by=now())) == []
    # The tree too: the station stood below the valley then, and stands by itself now.
    below = replace(here, site=valley)
    changed(mask, site=station)
    station.parent = None
    save_site(station, tables=["general-apparatus"])
    assert due_rows(below) == was
    assert due_rows(replace(below, known_by=now())) == []


def test_a_site_is_called_in_an_old_answer_as_it_was_called_then(
    mask: Item, station: Site, auditor: User
) -> None:
    moment, on = now() + timedelta(seconds=1), date(2026, 1, 1)
    sleep(1.1)
    station.code, station.name = "N1", "North station"
    save_site(station, tables=[])
    told = {(row.site, row.site_name) for row in due_rows(DueQuestion(on=on, known_by=moment))}
    assert told == {("ST1", "Station one")}
    assert {row.site for row in due_rows(DueQuestion(on=on))} == {"N1"}
    client, asked = signed_in(auditor), {"known_by": f"{moment:%Y-%m-%d %H:%M:%SZ}"}
    page = client.get(f"/items/{mask.pk}/", asked).content.decode()
    assert "<dd>Station one</dd>" in page
    assert "<dd>North station</dd>" in client.get(f"/items/{mask.pk}/").content.decode()
    paper = service_record(mask, printing(mask, on, moment))
    assert paper.site_name == "Station one"
    # The sentence on paper too; and the code that the old list shows finds the site.
    form = DueForm({"site": "N1", **asked}, tasks=[])
    assert form.is_valid()
    assert form.sentence().endswith("at Station one and all below")
    for code in ("N1", "ST1"):
        out = StringIO()
        known = ["--known-by", moment.isoformat(), "--format", "csv"]
        call_command("due", "--on", "2026-01-01", "--site", code, *known, stdout=out)
        assert "mask,ST1," in out.getvalue()
    with pytest.raises(CommandError, match="there is no site 'ST1'"):
        call_command("due", "--site", "ST1")


def test_a_set_s_paper_names_it_as_it_was_known(station: Site) -> None:
    whole, moment = make_item(station, "S1", "set"), now()
    station.name = "North station"
    save_site(station, tables=[])
    changed(whole, serial="another")
    fresh = Item.objects.select_related("type", "site").get(pk=whole.pk)
    paper = set_paper(fresh, printing(fresh, known_by=moment))
    assert (paper.serial, paper.site_name) == ("S-S1", "Station one")
    paper = set_paper(fresh, printing(fresh))
    assert (paper.serial, paper.site_name) == ("another", "North station")


def test_the_explanation_names_the_item_as_it_was_known(mask: Item, valley: Site) -> None:
    moment = now().isoformat()
    changed(mask, site=valley, serial="another")
    out = StringIO()
    call_command("explain", "00123", "--known-by", moment, stdout=out)
    assert "serial S-00123" in out.getvalue()
    assert "another" not in out.getvalue()


def test_the_list_page_and_its_paper_take_a_moment(mask: Item, auditor: User) -> None:
    moment = now() + timedelta(seconds=1)
    sleep(1.1)
    changed(mask, made_on=date(2019, 3, 10), in_service_on=date(2019, 3, 10))
    client = signed_in(auditor)
    asked = {"known_by": f"{moment:%Y-%m-%d %H:%M:%SZ}", "task": "tightness-test"}
    then, now_ = client.get("/due/", asked), client.get("/due/", {"task": "tightness-test"})
    assert "nothing entered later is counted" in then.content.decode()
    assert [row.due_on for row in then.context["table"].data] == [date(2020, 10, 1)]
    assert [row.due_on for row in now_.context["table"].data] == [date(2019, 9, 10)]
    assert client.get("/due/", {"known_by": "yesterday"}).status_code == 422
    # The link to the paper carries the whole sentence.
    assert f"known_by={moment:%Y-%m-%d}" in then.content.decode()
    assert client.get("/papers/overdue.pdf", asked).status_code == 200
    nobody_knew = client.get("/due/", {"known_by": "2020-01-01 10:00"})
    assert list(nobody_knew.context["table"].data) == []
    assert "No item was in the register at that moment" in nobody_knew.content.decode()
    paper = client.get("/papers/overdue.pdf", {"known_by": "2020-01-01 10:00"})
    assert paper.status_code == 422


def test_an_item_is_shown_as_it_was_known(mask: Item, auditor: User) -> None:
    moment = now() + timedelta(seconds=1)
    sleep(1.1)
    changed(mask, made_on=date(2019, 3, 10), in_service_on=date(2019, 3, 11))
    client = signed_in(auditor)
    asked = {"known_by": f"{moment:%Y-%m-%d %H:%M:%SZ}"}
    then = client.get(f"/items/{mask.pk}/", asked).content.decode()
    assert "10 Mar 2020" in then
    assert not re.search(r"(?<!%)2019", then)  # "%2019" is 19 o'clock in an address
    assert "10 Mar 2019" in client.get(f"/items/{mask.pk}/").content.decode()
    paper = service_record(mask, printing(mask, known_by=moment))
    assert (paper.made_on[:12], paper.in_service_on) == ("10 Mar 2020;", date(2020, 4, 1))


def test_the_commands_take_a_moment(mask: Item) -> None:
    moment = now().isoformat()
    changed(mask, made_on=date(2019, 3, 10), in_service_on=date(2019, 3, 10))
    out = StringIO()
    call_command("due", "--on", "2026-01-01", "--known-by", moment, "--format", "csv", stdout=out)
    assert "in-service,2020-04-01" in out.getvalue()
    with pytest.raises(CommandError, match="was not in the register"):
        call_command("explain", "00123", "--known-by", "2020-01-01")
    for command in (["due"], ["report", "overdue", "--out", "never-written.pdf"]):
        with pytest.raises(CommandError, match="No item was in the register at that moment"):
            call_command(*command, "--known-by", "2020-01-01")


@pytest.mark.parametrize(
    "text", ["yesterday", "2026-13-01", "0001-01-01T00:00+02:00", "9999-12-31T23:59-05:00"]
)
def test_a_moment_that_can_not_be_read_is_wrong_use(text: str) -> None:
    with pytest.raises(CommandError, match="is no moment; write one such as"):
        call_command("due", "--known-by", text)


def test_the_page_of_an_item_says_what_it_rests_on(mask: Item, auditor: User) -> None:
    moment = now() + timedelta(seconds=1)
    client = signed_in(auditor)
    page = client.get(f"/items/{mask.pk}/", {"known_by": f"{moment:%Y-%m-%d %H:%M:%SZ}"})
    assert "nothing entered later is counted" in page.content.decode()
    early = client.get(f"/items/{mask.pk}/", {"known_by": "2020-01-01 10:00"})
    assert early.status_code == 422
    assert "was not in the register" in early.content.decode()
    paper = client.get(f"/papers/items/{mask.pk}/record.pdf", {"known_by": "2020-01-01 10:00"})
    assert paper.status_code == 422
