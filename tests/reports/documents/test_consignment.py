"""The list for the test house: every cylinder with what must be known of it."""

from dataclasses import replace

import pytest

from reports.documents.pure.consignment import ConsignmentList, consignment_pdf
from servicing.hydrostatic.pure.listed import ListedCylinder
from tests.reports.documents.papers import HOSTILE, ON, PRINTED_AT, pages_of, text_of

ROW = ListedCylinder(
    tag="C-0001",
    serial="FW-20417",
    maker="Ferrowane Ridge 6",
    specification="EN-12245",
    construction="type-3 carbon",
    made_on="2019-04",
    water_capacity_l="6.8",
    working_pressure_bar="300",
    asked_pressure_bar="450",
    ree_ml="88",
    marks="plus;star",
    last_test_on="2021-06-03",
    owner="Tarn Valley Rescue Service",
)


def paper(*rows: ListedCylinder) -> ConsignmentList:
    return ConsignmentList(
        number="CL-1",
        consignment="2026-007",
        house="Fellgate Cylinder Testing",
        from_site="Alder Bridge",
        sent_on=ON,
        printed_at=PRINTED_AT,
        printed_by="Ilva Quernstone",
        cautions=("Only a body approved by the authority may mark a cylinder.",),
        rows=rows,
    )


def test_each_cylinder_stands_with_all_the_house_needs() -> None:
    text = text_of(consignment_pdf(paper(ROW)))
    for said in (
        "1 cylinder to Fellgate Cylinder Testing for retest.",
        "Left 17 Mar 2026, from Alder Bridge. Owner: Tarn Valley Rescue Service.",
        "C-0001",
        "serial FW-20417",
        "Ferrowane Ridge 6",
        "EN-12245, type-3 carbon",
        "made Apr 2019, tested 3 Jun 2021",
        "marks: plus, star",
        "test at 450 bar",
        "working 300 bar",
        "6.8 L, REE 88 mL",
        "Handed over by",
        "may mark a cylinder",
    ):
        assert said in text, said


def test_what_is_not_known_is_said_and_not_left_blank() -> None:
    bare = ListedCylinder("C-1", "S-1", "", "", "", "", "", "", "", "", "", "", "")
    text = text_of(consignment_pdf(paper(bare)))
    assert "specification not known" in text
    assert "made not known, tested not known" in text
    assert "test pressure as marked" in text


def test_before_it_left_the_list_says_so() -> None:
    assert "Not sent yet" in text_of(consignment_pdf(replace(paper(ROW), sent_on=None)))


def test_sixty_cylinders_all_stand_on_the_list_and_heads_are_repeated() -> None:
    rows = [replace(ROW, tag=f"C-{number:04d}") for number in range(1, 61)]
    pages = pages_of(consignment_pdf(paper(*rows)))
    text = " ".join(pages)
    assert all(f"C-{number:04d}" in text for number in range(1, 61))
    assert all("the house: result, mark" in page for page in pages[:-1])


@pytest.mark.parametrize("hostile", HOSTILE)
def test_marks_and_makers_cannot_spoil_the_paper(hostile: str) -> None:
    content = consignment_pdf(paper(replace(ROW, maker=hostile, marks=hostile)))
    assert content == consignment_pdf(paper(replace(ROW, maker=hostile, marks=hostile)))
    assert b"/URI" not in content
    assert "C-0001" in text_of(content)
