"""What every printed file keeps: fonts inside, language, title, the same bytes, no live parts."""

import builtins
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from io import BytesIO
from typing import Any
from unicodedata import normalize

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject
from reportlab.lib.pagesizes import A4
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from registry.lettering.pure import FURTHER
from reports.documents.pure.ink import Strip, Words
from reports.documents.pure.overdue import overdue_pdf
from reports.documents.pure.pen import Pen
from reports.documents.pure.record import record_pdf
from reports.documents.pure.sheet import GENERAL_CAUTION, MARGIN, WIDTH
from reports.documents.pure.text import printable, width
from tests.reports.documents.papers import (
    HOSTILE,
    because,
    entry,
    objects_of,
    overdue_report,
    overdue_row,
    pages_of,
    service_record,
    task_line,
    text_of,
    undetermined_row,
    without_spaces,
)

LIVE = {"/URI", "/JS", "/JavaScript", "/Annots", "/AA", "/OpenAction", "/Launch", "/EmbeddedFiles"}
LIVE |= {"/GoToR", "/AcroForm", "/Encrypt"}
LETTERS = ("Łukasz Żółć", "Jørgen Ærø", "Ελένη Ώρα", "Иван Щёголев", "Ґанна Їжак")
FURTHER_LETTERS = ("李建国", "山田さくら", "김민준", "יוסי כהן", "سلمى حداد", "فارس پژوه")


def _overdue(text: str) -> bytes:
    row = overdue_row(
        tag=text, kind=text, maker=text, serial=text, site_name=text, task=text, source=text
    )
    other = undetermined_row(2, rule=text, level=text, site=text, counted_from=text)
    changes = {"sentence": text, "printed_by": text, "cautions": (text,), "title": text}
    return overdue_pdf(overdue_report(row, other, **changes))


def _record(text: str) -> bytes:
    hostile = entry(
        task=text,
        performed_by=text,
        entered_by=text,
        readings=((text, text),),
        note=text,
        carried_over_from=text,
        procedure=text,
        instruments=(text,),
        corrects=3,
        reason=text,
        outcome=text,
    )
    record = service_record(
        hostile, tasks=(task_line(task=text, reasons=(because(arithmetic=text),)),)
    )
    names = ("tag", "kind", "maker", "model", "serial", "site_name", "made_on", "printed_by")
    changes: dict[str, Any] = {**dict.fromkeys(names, text), "number": f"SR {text}"}
    return record_pdf(replace(record, attributes=((text, text),), cautions=(text,), **changes))


PAPERS: tuple[Callable[[str], bytes], ...] = (_overdue, _record)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_note_is_only_text(
    paper: Callable[[str], bytes], text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    _overdue("the fonts are read once, before, ג غ 氧 too")

    def refuse(*args: Any, **kwargs: Any) -> None:
        raise AssertionError(f"opened {args}")

    monkeypatch.setattr(builtins, "open", refuse)
    pdf = paper(text)
    monkeypatch.undo()
    assert without_spaces(printable(text)) in without_spaces("".join(pages_of(pdf)))
    for each in objects_of(pdf):
        assert not LIVE & set(each)
        assert each.get("/Subtype") != "/Image"
        assert each.get("/S") not in LIVE


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("text", [*HOSTILE, "i " * 4000], ids=range(len(HOSTILE) + 1))
def test_nothing_leaves_the_paper(
    paper: Callable[[str], bytes], text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    outside: list[tuple[float, str]] = []
    draw = Pen.draw

    def watch(pen: Pen, strips: Sequence[Strip], top: float) -> None:
        bottom = top - sum(strip.height for strip in strips)
        if top > A4[1] or bottom < 20:
            outside.append((bottom, "height"))
        words = [op for strip in strips for op in strip.ops if isinstance(op, Words)]
        for each in words:
            if each.x < -0.01 or each.x + width(each.text, each.style) > WIDTH + 0.01:
                outside.append((each.x, each.text))
        draw(pen, strips, top)

    monkeypatch.setattr(Pen, "draw", watch)
    paper(text)
    assert outside == []


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", [*LETTERS, *FURTHER_LETTERS])
def test_names_come_out_as_letters(paper: Callable[[str], bytes], name: str) -> None:
    # What is searched for is compared without the shapes that letters take side by side.
    assert name in normalize("NFKC", text_of(paper(name)))


@pytest.mark.parametrize("paper", PAPERS)
def test_no_box_is_drawn_in_place_of_a_sign(
    paper: Callable[[str], bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each sign that is drawn has a glyph of its own in the font that draws it (its cmap)."""
    drawn: dict[str, set[str]] = {}
    split = TTFont.splitString

    def watch(font: Any, text: str, *rest: Any) -> Any:
        drawn.setdefault(font.fontName, set()).update(text)
        return split(font, text, *rest)

    monkeypatch.setattr(TTFont, "splitString", watch)
    paper(" ".join((*LETTERS, *FURTHER_LETTERS, *HOSTILE, "नमस्ते \N{FIRE} שָׁלוֹם")))
    assert set(drawn) > {str(face) for face in FURTHER}
    for name, signs in drawn.items():
        font: Any = pdfmetrics.getFont(name)
        glyphs = font.face.charToGlyph
        assert [sign for sign in signs if not glyphs.get(ord(sign))] == []


@pytest.mark.parametrize("paper", PAPERS)
def test_each_font_is_inside_the_file(paper: Callable[[str], bytes]) -> None:
    fonts = [
        each
        for each in objects_of(paper(" ".join((*LETTERS, *FURTHER_LETTERS))))
        if each.get("/Type") == "/Font"
    ]
    assert len(fonts) >= 3
    for each in fonts:
        descriptor = each["/FontDescriptor"].get_object()
        assert isinstance(descriptor, DictionaryObject)
        assert "/FontFile2" in descriptor, each["/BaseFont"]
        assert "+" in str(each["/BaseFont"]), "only the signs that are used"
        assert "/ToUnicode" in each


@pytest.mark.parametrize("paper", PAPERS)
def test_title_language_and_moment_are_set(paper: Callable[[str], bytes]) -> None:
    reader = PdfReader(BytesIO(paper("Kvist")))
    assert reader.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]
    assert reader.metadata is not None
    assert "Kvist" in str(reader.metadata.title)
    assert reader.metadata.author == "Kvist"
    assert str(reader.metadata["/CreationDate"]) == "D:20260317140500+01'00'"
    assert not reader.is_encrypted


def test_bookmarks_come_with_the_third_page() -> None:
    def outline(rows: int) -> list[str]:
        pdf = overdue_pdf(overdue_report(*[overdue_row(number) for number in range(rows)]))
        return [str(each.title) for each in PdfReader(BytesIO(pdf)).outline]  # type: ignore[union-attr]

    assert outline(2) == []
    assert outline(60) == ["Alder Bridge (AB): 60 overdue, nothing undetermined", "Cautions"]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_same_input_gives_the_same_bytes(paper: Callable[[str], bytes]) -> None:
    assert paper("Ελένη Щ") == paper("Ελένη Щ")


def test_many_threads_print_what_one_prints() -> None:
    # Accented letters are put together from two, which makes a font read to and fro.
    accented = "".join(map(chr, range(0xC0, 0x17F)))
    alone = _record(accented)
    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)  # so often that threads sharing a font would meet in it
    try:
        with ThreadPoolExecutor(8) as pool:
            printed = [pool.submit(_record, accented) for _ in range(40)]
            together = {each.result() for each in printed}
    finally:
        sys.setswitchinterval(interval)
    assert together == {alone}


def test_the_programs_own_caution_stands_once_with_those_of_the_tables() -> None:
    report = overdue_report(overdue_row(), cautions=("Table caution.", GENERAL_CAUTION))
    text = text_of(overdue_pdf(report))
    assert text.count("Somebody competent must check them") == 1
    assert "Table caution." in text


def test_a_print_without_time_zone_is_refused() -> None:
    naive = datetime(2026, 3, 17, 14, 5)  # noqa: DTZ001
    with pytest.raises(ValueError, match="time zone"):
        overdue_pdf(overdue_report(printed_at=naive))


def test_the_margin_is_wide_enough_to_punch() -> None:
    assert MARGIN >= 40
