"""The commands that bring lists and tables in, and recompute: what is refused, what is written."""

from datetime import date
from pathlib import Path

import pytest

from registry.items.models import Item
from registry.sets.models import Fitting
from registry.sites.models import Site
from registry.trail.models import TrailEntry
from servicing.due.models import StoredObligation
from servicing.ledger.models import Record
from tests.commands.running import FITTINGS, run
from tests.console import Said
from tests.registry.lists.making import HEAD

BAD_LISTS = {
    "import_sites": "code,name,parent,timezone,rule_tables\nA,,,Europe/Vienna,\nB,B,,Mars/One,\n",
    "import_register": f"{HEAD}\n1,mask,P,,1,2020,,ST1\n2,maks,P,,2,,,ST1\n",
    "import_history": (
        "tag,task,done_on,outcome,by,note\n00123,use,soon,pass,B,\n00124,use,2025-01-01,pass,B,\n"
    ),
}


@pytest.mark.parametrize("command", BAD_LISTS)
@pytest.mark.parametrize("options", [(), ("--check",)], ids=["written", "checked"])
def test_refused_rows_end_with_1_and_a_line_for_each(
    mask: Item, tmp_path: Path, command: str, options: tuple[str, ...]
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(BAD_LISTS[command])
    done = run(command, str(file), *options)
    assert (done.status, done.out) == (1, "")
    first, second, last = done.err.splitlines()
    assert first.startswith(f"{file}:2: column ")
    assert second.startswith(f"{file}:3: column ")
    assert last == "2 problems found, nothing was written"
    assert (Site.objects.count(), Item.objects.count(), Record.objects.count()) == (2, 1, 0)


def test_a_rule_table_with_a_fault_ends_with_1_and_its_line(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "local.toml"
    file.write_text('table = "local"\ntitle = "Local"\n[[rule]]\nid = "x"\nevery = "yearly"\n')
    done = run("load_rules", str(file))
    assert (done.status, done.out) == (1, "")
    assert done.err.startswith(f"{file}:")
    assert done.err.splitlines()[-1].endswith("found, nothing was written")


def test_loading_the_same_rules_again_changes_nothing(rules: None) -> None:
    done = run("load_rules")
    assert done.status == 0
    assert "0 new rows, 0 changed, 0 ended" in done.out
    assert "stored due dates of 0 items changed" in done.out


def test_recomputing_says_how_many_items_it_set_right(fleet: Item) -> None:
    assert "stored due dates of 0 items changed" in run("recompute").out
    StoredObligation.objects.filter(item=fleet).update(due_on=date(2099, 1, 1))
    assert "stored due dates of 1 items changed" in run("recompute").out
    assert "stored due dates of 0 items changed" in run("recompute").out


def test_sites_can_be_brought_in_twice(mask: Item, tmp_path: Path) -> None:
    file = tmp_path / "sites.csv"
    file.write_text(
        "code,name,parent,timezone,rule_tables\n"
        "VAL,Valley service,,Europe/Vienna,iso-en-cylinders;general-apparatus\n"
        "ST1,Station one,VAL,Europe/Vienna,\nST3,Station three,VAL,Europe/Vienna,\n"
    )
    for _ in range(2):
        assert run("import_sites", str(file)) == Said(
            0, "3 sites written; due dates of 0 items moved\n", ""
        )
    assert Site.objects.count() == 3


def test_fittings_come_in_once_and_an_end_closes_them(sets: Path, tmp_path: Path) -> None:
    file = tmp_path / sets
    file.write_text(FITTINGS)
    checked = run("import_fittings", str(file), "--check")
    assert (checked.status, Fitting.objects.count()) == (0, 0)
    assert "3 fittings could be written; nothing was" in checked.out
    assert "3 fittings added, 0 closed, 0 as they were" in run("import_fittings", str(file)).out
    assert "0 fittings added, 0 closed, 3 as they were" in run("import_fittings", str(file)).out
    file.write_text(FITTINGS.replace("2023-06-01,", "2023-06-01,2024-02-29"))
    assert "0 fittings added, 1 closed, 2 as they were" in run("import_fittings", str(file)).out
    assert "0 fittings added, 0 closed, 3 as they were" in run("import_fittings", str(file)).out
    assert TrailEntry.objects.filter(what="fitting").count() == 4
    assert [f.part.tag for f in Fitting.objects.open()] == ["F001"]


def test_a_list_of_fittings_with_a_fault_writes_nothing(sets: Path, tmp_path: Path) -> None:
    file = tmp_path / sets
    file.write_text(FITTINGS + "S001,00123,mask,2023-09-01,\nS001,NOPE,mask,2023-09-01,\n")
    done = run("import_fittings", str(file))
    assert (done.status, Fitting.objects.count()) == (1, 0)
    assert f"{file}:5: column part: '00123' is taken: line 4 has 00123 in S001" in done.err
    assert f"{file}:6: column part: 'NOPE' is not in the register" in done.err
    assert "nothing was written" in done.err
