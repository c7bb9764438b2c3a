"""The command report: papers in files."""

from pathlib import Path
from typing import Any

import pytest

from registry.items.models import Item
from tests.commands.running import FITTINGS, run, text_of
from tests.console import Said


@pytest.mark.parametrize(
    ("words", "there", "not_there"),
    [
        (("overdue",), ("C-1", "C-2"), ()),
        (("overdue", "--site", "ST1"), ("C-2",), ("C-1",)),
        (("record", "00123"), ("00123", "S-00123"), ("C-1", "C-2")),
        (("record", "C-2", "--on", "2024-01-01"), ("C-2", "1 Jan 2024"), ("C-1",)),
    ],
    ids=" ".join,
)
def test_a_report_is_a_pdf_that_can_be_read(
    fleet: Item, tmp_path: Path, words: tuple[str, ...], there: tuple[str, ...], not_there: Any
) -> None:
    file = tmp_path / "paper.pdf"
    assert run("report", *words, "--out", str(file)) == Said(0, f"{file} written\n", "")
    text = text_of(file)
    assert [word for word in there if word not in text] == []
    assert [word for word in not_there if word in text] == []
    assert list(tmp_path.iterdir()) == [file]


def test_a_report_takes_the_place_of_an_older_one(fleet: Item, tmp_path: Path) -> None:
    file = tmp_path / "paper.pdf"
    file.write_text("an older one")
    run("report", "overdue", "--out", str(file))
    assert "C-2" in text_of(file)


@pytest.mark.parametrize("out", ["nowhere/paper.pdf", "."])
def test_a_report_that_cannot_be_written_leaves_no_part_of_it(
    fleet: Item, tmp_path: Path, out: str
) -> None:
    done = run("report", "overdue", "--out", str(tmp_path / out))
    assert (done.status, "can't be written" in done.err) == (2, True)
    assert list(tmp_path.iterdir()) == []


def test_the_paper_of_a_set_is_written(sets: Path, tmp_path: Path) -> None:
    file, paper = tmp_path / sets, tmp_path / "set.pdf"
    file.write_text(FITTINGS)
    run("import_fittings", str(file))
    assert run("report", "set", "S001", "--out", str(paper)).status == 0
    said = text_of(paper)
    assert "NOT READY" in said
    assert "Missing: the reducer." in said
    earlier = run("report", "set", "S001", "--on", "2023-03-01", "--out", str(paper))
    assert earlier.status == 0
    assert "Missing: the mask." in text_of(paper), "it was out between January and June"
    assert run("report", "set", "F001", "--out", str(paper)).status == 2
