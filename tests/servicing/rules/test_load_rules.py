"""Loading rule tables: what comes new, changes or ends, and the due dates that move with it."""

import io
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command

from registry.items.models import Item
from registry.people.pure import Role
from registry.sites.models import Site
from servicing.due.actions.register import load_rules, save_item, save_site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import StoredObligation
from servicing.due.queries.rows import DueQuestion, due_rows, stored_row, stored_rows
from servicing.rules.actions import Loaded, RuleClash, RuleIdTaken, load_tables
from servicing.rules.models import RuleTable, RuleVersion
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table
from tests.people import BLANK, make_item, make_person

pytestmark = pytest.mark.django_db

HEAD = 'table = "{name}"\ntitle = "Masks"\njurisdiction = "XX"\ncaution = "Check it."\n'
ROW = """
[[rule]]
id = "{id}"
task = "{task}"
level = "local"
bars = "use-and-filling"
when = {{ kind = ["mask"] }}
every = "{every}"
from = "made"
source = "a page"
seen = "practice"
"""
LEAK, FLOW = ("leak", "tightness-test", "P1Y"), ("flow", "flow-test", "P2Y")
AT = datetime(2026, 11, 25, 10, 30, tzinfo=UTC)
LATER = datetime(2026, 12, 1, 8, 0, tzinfo=UTC)


def text_of(*rows: tuple[str, str, str], name: str = "masks") -> str:
    """Return a table's text from (id, task, interval)."""
    return HEAD.format(name=name) + "".join(
        ROW.format(id=rule, task=task, every=every) for rule, task, every in rows
    )


def table(*rows: tuple[str, str, str], name: str = "masks") -> Table:
    read, problems = read_table("masks.toml", text_of(*rows, name=name))
    assert not problems
    return read


def kept(rule_id: str) -> list[tuple[int, bool]]:
    """Return (version, whether it is current) of every version of a rule."""
    versions = RuleVersion.objects.filter(rule_id=rule_id).order_by("version")
    return [(version.version, version.replaced_at is None) for version in versions]


@pytest.fixture
def mask() -> Item:
    """A mask made on 10 March 2020, at a site that follows the table of masks."""
    load_rules([table(LEAK, FLOW)])
    site = Site(code="ST1", name="Station one", timezone="Europe/Vienna")
    save_site(site, tables=["masks"])
    return make_item(site, "00123", made_on=date(2020, 3, 10))


def due(item: Item) -> dict[str, date | None]:
    return dict(StoredObligation.objects.filter(item=item).values_list("task", "due_on"))


def test_loading_the_same_again_changes_nothing() -> None:
    tables = [table(LEAK, FLOW)]
    assert load_tables(tables, at=AT) == Loaded(new=2)
    before = list(RuleVersion.objects.values())
    assert load_tables(tables, at=LATER) == Loaded(same=2)
    assert list(RuleVersion.objects.values()) == before
    assert load_rules(tables) == (Loaded(same=2), 0)


def test_a_changed_row_becomes_a_new_version_and_the_old_one_stays() -> None:
    load_tables([table(LEAK, FLOW)], at=AT)
    old = RuleVersion.objects.get(rule_id="leak")
    longer = ("leak", "tightness-test", "P18M")
    assert load_tables([table(longer, FLOW)], at=LATER) == Loaded(changed=1, same=1)
    assert kept("leak") == [(1, False), (2, True)]
    first, second = RuleVersion.objects.filter(rule_id="leak").order_by("version")
    assert (first.replaced_at, second.loaded_at, second.replaced_at) == (LATER, LATER, None)
    assert (first.loaded_at, first.content, first.content_hash) == (
        AT,
        old.content,
        old.content_hash,
    )
    assert second.content_hash != first.content_hash
    assert '"every": "P1Y"' in first.content
    assert kept("flow") == [(1, True)]


def test_a_row_in_another_order_or_with_a_comment_is_the_same_row() -> None:
    load_tables([table(LEAK)], at=AT)
    lines = text_of(LEAK).splitlines()
    turned = "\n".join(["# why", *lines[:6], *reversed(lines[6:])])
    assert load_tables([read_table("masks.toml", turned)[0]], at=LATER) == Loaded(same=1)


def test_a_row_that_left_its_table_is_ended_and_may_come_back() -> None:
    load_tables([table(LEAK, FLOW)], at=AT)
    assert load_tables([table(LEAK)], at=LATER) == Loaded(same=1, ended=1)
    assert kept("flow") == [(1, False)]
    assert RuleVersion.objects.get(rule_id="flow").replaced_at == LATER
    assert load_tables([table(LEAK)], at=LATER) == Loaded(same=1)
    assert load_tables([table(LEAK, FLOW)], at=LATER) == Loaded(same=1, changed=1)
    assert kept("flow") == [(1, False), (2, True)]


def test_a_table_that_is_not_in_the_files_is_left_alone() -> None:
    load_tables([table(LEAK), table(FLOW, name="flows")], at=AT)
    assert load_tables([table(LEAK)], at=LATER) == Loaded(same=1)
    assert kept("flow") == [(1, True)]


def test_the_words_of_a_table_are_brought_up_to_date() -> None:
    load_tables([table(LEAK)], at=AT)
    text = text_of(LEAK).replace("Check it.", "Ask the maker first.")
    assert load_tables([read_table("masks.toml", text)[0]], at=LATER) == Loaded(same=1)
    assert RuleTable.objects.get().caution == "Ask the maker first."


def test_due_dates_move_with_the_rules(mask: Item) -> None:
    assert due(mask) == {"tightness-test": date(2021, 3, 10), "flow-test": date(2022, 3, 10)}
    loaded, moved = load_rules([table(("leak", "tightness-test", "P18M"), FLOW)])
    assert (loaded, moved) == (Loaded(changed=1, same=1), 1)
    assert due(mask) == {"tightness-test": date(2021, 9, 10), "flow-test": date(2022, 3, 10)}
    assert recompute() == 0


def test_what_an_ended_row_asked_is_asked_no_more(mask: Item) -> None:
    assert load_rules([table(LEAK)]) == (Loaded(same=1, ended=1), 1)
    assert due(mask) == {"tightness-test": date(2021, 3, 10)}
    assert recompute() == 0


def test_a_new_source_moves_no_date_but_is_shown(mask: Item) -> None:
    text = text_of(LEAK, FLOW).replace('"a page"', '"another page"')
    loaded, _ = load_rules([read_table("masks.toml", text)[0]])
    assert loaded == Loaded(changed=2)
    assert due(mask) == {"tightness-test": date(2021, 3, 10), "flow-test": date(2022, 3, 10)}
    sources = StoredObligation.objects.filter(item=mask).values_list("rule__source", flat=True)
    assert set(sources) == {"another page"}
    assert recompute() == 0


@pytest.mark.parametrize(
    "before_it",
    [
        table(LEAK, FLOW, ("more", "overhaul", "P6Y")),
        table(("leak", "tightness-test", "P18M"), FLOW),
        table(FLOW),
        table(("another", "overhaul", "P6Y"), name="another"),
    ],
    ids=["a new row", "a changed row", "an ended row", "a new table"],
)
def test_an_id_of_another_table_is_refused_and_nothing_is_written(before_it: Table) -> None:
    load_tables([table(LEAK, FLOW)], at=AT)
    before = list(RuleVersion.objects.values()), list(RuleTable.objects.values())
    taken = table(("new", "cleaning", "P1M"), FLOW, name="other")
    with pytest.raises(RuleIdTaken, match="rule flow of other stands already in masks; rename one"):
        load_tables([before_it, taken], at=LATER)
    assert (list(RuleVersion.objects.values()), list(RuleTable.objects.values())) == before


def test_an_id_is_free_again_when_its_row_was_ended() -> None:
    load_tables([table(LEAK, FLOW)], at=AT)
    load_tables([table(LEAK)], at=LATER)
    assert load_tables([table(FLOW, name="other")], at=LATER) == Loaded(changed=1)
    assert kept("flow") == [(1, False), (2, True)]
    current = RuleVersion.objects.get(rule_id="flow", replaced_at=None)
    assert current.table.name == "other"


def command(*files: Path) -> tuple[str, list[str], CommandError | None]:
    """Run load_rules; return its output, its lines on standard error and how it ended."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("load_rules", *map(str, files), stdout=out, stderr=err)
    except CommandError as error:
        return out.getvalue(), err.getvalue().splitlines(), error
    return out.getvalue(), err.getvalue().splitlines(), None


def test_the_command_loads_the_tables_of_the_house_without_a_file() -> None:
    out, errors, ended = command()
    assert (errors, ended) == ([], None)
    tables, new = RuleTable.objects.count(), RuleVersion.objects.count()
    assert out == (
        f"{tables} tables: {new} new rows, 0 changed, 0 ended, 0 as they were; "
        "stored due dates of 0 items changed\n"
    )
    again, _, _ = command()
    assert again.startswith(f"{tables} tables: 0 new rows, 0 changed, 0 ended, {new} as they were")


def test_the_command_says_how_many_items_moved(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "masks.toml"
    file.write_text(text_of(("leak", "tightness-test", "P18M")))
    with time_machine.travel(LATER, tick=False):
        out, errors, ended = command(file)
    assert (errors, ended) == ([], None)
    assert out.endswith(
        "0 new rows, 1 changed, 1 ended, 0 as they were; stored due dates of 1 items changed\n"
    )
    assert RuleVersion.objects.get(rule_id="leak", version=1).replaced_at == LATER


def test_a_broken_file_ends_with_1_a_line_for_each_problem_and_nothing_written(
    tmp_path: Path,
) -> None:
    good, bad, worse = (tmp_path / name for name in ("good.toml", "bad.toml", "worse.toml"))
    good.write_text(text_of(LEAK))
    bad.write_text(text_of(("flow", "flow test", "2 years"), name="flows"))
    worse.write_text("table = worse\n")
    _, errors, ended = command(good, bad, worse)
    assert [line.split(" ", 1)[0] for line in errors] == [f"{bad}:6:", f"{bad}:6:", f"{worse}:1:"]
    assert "column task: 'flow test' is not a name" in errors[0]
    assert "column every: '2 years' is not a duration; write an ISO 8601 one" in errors[1]
    assert "can't be read as TOML" in errors[2]
    assert ended is not None
    assert (str(ended), ended.returncode) == ("3 problems found, nothing was written", 1)
    assert not RuleTable.objects.exists()


def test_a_single_bracket_does_not_end_every_row_of_the_table(mask: Item, tmp_path: Path) -> None:
    """[rule] for [[rule]] is TOML too, and means a table without a row."""
    file = tmp_path / "masks.toml"
    file.write_text(text_of(LEAK).replace("[[rule]]", "[rule]"))
    _, errors, ended = command(file)
    assert len(errors) == 1
    assert "write [[rule]] above each row" in errors[0]
    assert ended is not None
    assert kept("flow") == [(1, True)]


def test_two_tables_with_one_id_end_with_1(tmp_path: Path) -> None:
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text(text_of(LEAK))
    two.write_text(text_of(LEAK, name="twins"))
    _, _, ended = command(one, two)
    assert ended is not None
    assert ended.returncode == 1
    assert str(ended) == (
        "rule leak of twins stands already in masks; rename one; nothing was written"
    )
    assert not RuleTable.objects.exists()


def test_a_file_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    _, _, ended = command(tmp_path / "no.toml")
    assert ended is not None
    assert ended.returncode == 2
    assert str(ended) == f"{tmp_path / 'no.toml'}: can't be read: No such file or directory"


def test_a_file_in_another_encoding_is_named(tmp_path: Path) -> None:
    file = tmp_path / "masks.toml"
    file.write_bytes(text_of(LEAK).replace("a page", "Prüfung").encode("cp1252"))
    _, errors, ended = command(file)
    assert errors == [f"{file}:1: is not UTF-8; save it as UTF-8"]
    assert ended is not None
    assert ended.returncode == 1


def test_a_table_given_twice_is_refused_and_nothing_is_written() -> None:
    with pytest.raises(RuleClash, match="masks is given twice"):
        load_tables([table(LEAK), table(FLOW)], at=AT)
    assert not RuleTable.objects.exists()


def test_a_row_can_move_to_another_table_in_one_load() -> None:
    load_tables([table(LEAK, FLOW)], at=AT)
    load_tables([table(LEAK, name="aprons"), table(FLOW)], at=LATER)
    assert RuleVersion.objects.get(rule_id="leak", replaced_at=None).table.name == "aprons"


def test_a_mask_moved_to_where_it_is_still_yesterday_stays_in_today_s_list() -> None:
    load_tables([table(LEAK)], at=AT)
    east = Site(code="E", name="East", timezone="Pacific/Kiritimati")
    west = Site(code="W", name="West", timezone="Pacific/Niue")
    for site in (east, west):
        save_site(site, tables=["masks"])
    with time_machine.travel(AT, tick=False):
        mask = make_item(east, "00123", made_on=date(2020, 1, 1))
        user = make_person("tekla", Role.TECHNICIAN, east)
        service = Service("tightness-test", date(2026, 11, 26), "pass", "Tekla Merrow")
        log_service(item=mask, service=service, user=user, entry_key="k")
        known = {name: getattr(mask, name) for name in (*BLANK, "serial")}
        kind: dict[str, Any] = {"tag": "00123", "kind": "mask", "maker": "Pellwright"}
        save_item(mask, site=west, attributes=known, model="Vizard", **kind)
        stored = [stored_row(row) for row in stored_rows(DueQuestion())]
        assert stored == due_rows(DueQuestion())
        # On the 24th, at Niue, the test of the 26th has not been done yet.
        assert [row.basis_on for row in stored] == [date(2020, 1, 1)]
