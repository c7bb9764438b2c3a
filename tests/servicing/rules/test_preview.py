"""`load_rules --check` lists exactly the dates that then move, and writes nothing."""

from datetime import date
from io import StringIO
from pathlib import Path

from django.core.management import call_command

from registry.items.models import Item
from registry.sites.models import Site
from servicing.due.actions.register import load_rules, preview_rules
from servicing.due.models import StoredObligation, holding
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
    loaded, moves, _ = preview_rules([shorter()])
    assert owed() == before
    load_rules([shorter()])
    after = owed()
    moved = {key for key in before if before[key] != after[key]}
    assert {(move.tag, move.task) for move in moves} == moved
    assert ("00123", "tightness-test") in moved
    assert all(
        m.after and (str(m.after.due_on), m.after.rule) == after[m.tag, m.task] for m in moves
    )
    assert loaded.changed > 0


def test_the_command_says_what_would_move_and_writes_nothing(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "general-apparatus.toml"
    file.write_text((RULES / file.name).read_text().replace('"P6M"', '"P5M"'))
    versions = RuleVersion.objects.count()
    out = StringIO()
    call_command("load_rules", str(file), "--check", stdout=out)
    # In service on 1 April 2020 and never tested: six months on, and five.
    source = "DGUV G 305-002 annex 2 (BGI/GUV-I 8674), full masks"
    assert (
        "00123: tightness-test: 2020-10-01 -> 2020-09-01, 30 days earlier: "
        f"app-mask-test, every 6 months ({source}) -> app-mask-test, every 5 months ({source})"
    ) in out.getvalue()
    assert out.getvalue().rstrip().endswith("nothing was written")
    assert RuleVersion.objects.count() == versions


def test_a_row_that_begins_later_is_told_with_its_day(mask: Item) -> None:
    text = (RULES / "general-apparatus.toml").read_text()
    text += (
        '[[rule]]\nid = "app-invented"\ntask = "tightness-test"\nlevel = "law"\n'
        'when = { kind = ["mask"] }\nevery = "P4M"\nfrom = "in-service"\n'
        'source = "invented"\nseen = "practice"\nvalid_from = 2090-01-01\n'
    )
    table, problems = read_table("general-apparatus.toml", text)
    assert not problems
    _, moves, _ = preview_rules([table])
    assert [(m.tag, m.task, str(m.on), m.by_how_much) for m in moves] == [
        ("00123", "tightness-test", "2090-01-01", "61 days earlier")
    ]
    load_rules([table])
    on_the_eve, then = date(2089, 12, 31), date(2090, 1, 1)
    rows = StoredObligation.objects.filter(task="tightness-test")
    assert [r.due_on for r in rows.filter(holding(on_the_eve))] == [date(2020, 10, 1)]
    assert [r.due_on for r in rows.filter(holding(then))] == [date(2020, 8, 1)]
