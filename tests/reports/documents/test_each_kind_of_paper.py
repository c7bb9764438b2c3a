"""Every kind of paper is one row, from which its address, its subcommand and its choice follow."""

from argparse import ArgumentParser
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.urls import reverse

from registry.items.models import Item
from reports.documents.actions import CONSIGNMENT, PAPERS, SET, PaperKind
from reports.documents.forms import PapersForm
from reports.management.commands.report import FOUND, Command
from servicing.away.models import Consignment
from servicing.papers.models import Paper
from tests.people import make_cylinder, make_item, signed_in
from tests.reports.documents.papers import text_of
from tests.servicing.hydrostatic.away import sent_away
from tests.worlds import world_fixture


@world_fixture
def cylinder(station: object, technician: User) -> Item:
    return make_cylinder(station, "C0001", technician)  # type: ignore[arg-type]


@world_fixture
def away(cylinder: Item, technician: User) -> Consignment:
    return sent_away(cylinder.site, [cylinder], technician)


def subject_of(paper: PaperKind, away: Consignment, cylinder: Item) -> tuple[int, str]:
    """Return the number and the name of something that a paper can be of."""
    if paper.about is CONSIGNMENT:
        return away.pk, away.number
    item = make_item(cylinder.site, "S001", "set") if paper.about is SET else cylinder
    return item.pk, item.tag


def test_no_two_papers_share_a_word() -> None:
    assert len({paper.kind for paper in PAPERS}) == len(PAPERS)
    assert len({paper.name for paper in PAPERS}) == len(PAPERS)
    assert all(len(paper.kind) <= 20 for paper in PAPERS)  # as long as its column


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_each_paper_is_made_by_its_address_and_its_subcommand(
    paper: PaperKind, away: Consignment, cylinder: Item, technician: User, tmp_path: Path
) -> None:
    pk, name = subject_of(paper, away, cylinder)
    answer = signed_in(technician).get(reverse(f"{paper.name}-pdf", args=[pk]))
    assert name in text_of(answer.content)
    file = tmp_path / "paper.pdf"
    call_command("report", paper.name, name, "--out", str(file))
    assert name in text_of(file.read_bytes())
    assert list(Paper.objects.values_list("kind", flat=True)) == [paper.kind] * 2


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
@pytest.mark.usefixtures("cylinder")
def test_a_paper_of_nothing_is_wrong_use(paper: PaperKind, tmp_path: Path) -> None:
    for name in ("NEVER", "C0001" if paper.about is SET else "NEVER-2"):
        with pytest.raises(CommandError) as refused:
            call_command("report", paper.name, name, "--out", str(tmp_path / "x.pdf"))
        assert refused.value.returncode == 2
    assert not Paper.objects.exists()


def test_each_paper_can_be_asked_for_in_the_register_and_on_the_command_line() -> None:
    offered = {value for value, _ in PapersForm().fields["kind"].choices}  # type: ignore[attr-defined]
    assert offered == {"", *(paper.kind for paper in PAPERS)}
    assert {paper.about for paper in PAPERS} == set(FOUND)
    parser = ArgumentParser()
    Command().add_arguments(parser)
    named = " ".join(parser.format_help().split())
    assert all(paper.name in named and paper.says in named for paper in PAPERS)
