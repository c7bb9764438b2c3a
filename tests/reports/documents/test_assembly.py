"""The paper of a set says first whether it is ready, then what is in it and what it weighs."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from reports.documents.pure.assembly import PartEntry, SetPaper, set_pdf
from servicing.due.pure.answer import Answer
from tests.reports.documents.papers import (
    CAUTION,
    HOSTILE,
    ON,
    PRINTED_AT,
    pages_of,
    text_of,
)

HEAD = "a" * 64
CYLINDER = PartEntry(
    place="cylinder",
    tag="C117",
    name="Kombrek Lark 68",
    serial="KB-304129",
    fitted_on=date(2025, 4, 4),
    due_on=date(2026, 2, 9),
    state="overdue",
    reason="hydrostatic retest is overdue, it was due on 9 Feb 2026",
    chain_head=HEAD,
)
SELF = replace(
    CYLINDER,
    place="",
    tag="S031",
    name="Ondrevik Ravine 3",
    serial="OR-1",
    fitted_on=None,
    due_on=date(2026, 12, 31),
    state="current",
    reason="flow test is due on 31 Dec 2026",
    chain_head="",
)


def paper(**changes: Any) -> SetPaper:
    """A set with one part, which is overdue."""
    found = SetPaper(
        number="ST-20260317-ABCD1234",
        tag="S031",
        name="Ondrevik Ravine 3",
        serial="OR-1",
        site_name="Alder Bridge",
        answer=Answer(
            "overdue",
            "S031 is not ready: cylinder C117: hydrostatic retest is overdue.",
            "",
            ("the mask is missing",),
        ),
        remarks=("The charge of C117 is not known: read the gauge.",),
        entries=(CYLINDER, SELF),
        missing=("mask",),
        mass_lines=(("cylinder C117", "3.900", "tare, as stamped"), ("frame F1", "", "not stated")),
        mass_sum="3.900",
        mass_verdict="3.900 kg, without frame F1: whether it is within 18 kg is not known.",
        findings=(("refused", "Another thread. (common practice)"),),
        on=ON,
        known_by="",
        printed_at=PRINTED_AT,
        printed_by="Tekla Merrow",
        cautions=(CAUTION,),
    )
    return replace(found, **changes)


def test_the_first_line_says_whether_the_set_is_ready() -> None:
    text = text_of(set_pdf(paper()))
    assert text.index("NOT READY on 17 Mar 2026") < text.index("cylinder C117: hydrostatic")
    assert "Also: the mask is missing." in text
    ready = text_of(set_pdf(paper(answer=Answer("current", "S031 is ready.", ""))))
    assert "READY on 17 Mar 2026" in ready
    assert "NOT READY" not in ready


def test_parts_clocks_mass_chains_and_cautions_stand_on_it() -> None:
    text = text_of(set_pdf(paper()))
    for words in (
        "set, Ondrevik Ravine 3, serial OR-1",
        "2026·02",
        "fitted 4 Apr 2025",
        HEAD,
        "Missing: the mask.",
        "3.900 kg",
        "not known",
        "tare, as stamped",
        "Another thread.",
        "no record has been entered",
        "relates only to set S031",
        CAUTION,
        "The charge of C117 is not known",
        "End of document ST-20260317-ABCD1234",
    ):
        assert words in text, words


def test_what_was_known_at_a_moment_is_said() -> None:
    text = text_of(set_pdf(paper(known_by="as known by 1 Mar 2026, 09:00 UTC")))
    assert "nothing entered later counts" in text


def test_the_same_set_gives_the_same_bytes() -> None:
    assert set_pdf(paper()) == set_pdf(paper())


@pytest.mark.parametrize("text", HOSTILE)
def test_what_people_type_is_text(text: str) -> None:
    entry = replace(CYLINDER, name=text, serial=text, reason=text)
    answer = Answer("overdue", text, text, (text,))
    hostile = paper(site_name=text, remarks=(text,), entries=(entry, SELF), answer=answer)
    assert pages_of(set_pdf(hostile))


def test_a_set_of_many_reasons_goes_over_pages() -> None:
    pages = pages_of(set_pdf(paper(findings=(("fits", "It fits. " * 20),) * 60)))
    assert len(pages) > 2
    assert all("ST-20260317-ABCD1234" in page for page in pages)
