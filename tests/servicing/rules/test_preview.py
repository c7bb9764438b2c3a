"""`load_rules --check` lists exactly the dates that then move, and writes nothing."""

from io import StringIO
from pathlib import Path

from django.core.management import call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.register import load_rules, preview_rules
from servicing.due.models import StoredObligation
from servicing.rules.models import RuleVersion
from servicing.rules.pure.rule import Table
from servicing.rules.pure.tables import read_table
from tests.people import RULES, make_item

Owed = dict[tuple[str, str], tuple[str, str]]


def shorter() -> Table:
    """The general table with every half year turned into five months."""
    text = (RULES / "general-apparatus.toml").read_text().replace('"P6M"', '"P5M"')
    table, problems = read_table("general-apparatus.toml", text)
    assert not problems
    return table


def owed() -> Owed:
    rows = StoredObligation.objects.values_list("item__tag", "task", "due_on", "rule__rule_id")
    return {(tag, task): (str(due_on), rule) for tag, task, due_on, rule in rows}


def test_the_preview_lists_exactly_what_then_moves(mask: Item, station: Site) -> None:
    make_item(station, "K1", kind="compressor")
    before = owed()
    loaded, moves = preview_rules([shorter()])
    assert owed() == before
    load_rules([shorter()])
    after = owed()
    moved = {key for key in before if before[key] != after[key]}
    assert {(move.tag, move.task) for move in moves} == moved
    assert ("00123", "tightness-test") in moved
    assert all((m.due_after, m.rule_after) == after[m.tag, m.task] for m in moves)
    assert loaded.changed > 0


def test_the_command_says_what_would_move_and_writes_nothing(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "general-apparatus.toml"
    file.write_text((RULES / file.name).read_text().replace('"P6M"', '"P5M"'))
    versions = RuleVersion.objects.count()
    out = StringIO()
    call_command("load_rules", str(file), "--check", stdout=out)
    # In service on 1 April 2020 and never tested: six months on, and five.
    assert "00123: tightness-test: 2020-10-01 -> 2020-09-01" in out.getvalue()
    assert out.getvalue().rstrip().endswith("nothing was written")
    assert RuleVersion.objects.count() == versions
