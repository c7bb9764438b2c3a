"""Lists of results: sixty out and back, bad rows, and pounds per square inch."""

import csv
from datetime import date, timedelta
from io import BytesIO, StringIO

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.away.models import Consignment
from servicing.away.queries import holding
from servicing.hydrostatic.actions.consignments import (
    take_back,
)
from servicing.hydrostatic.actions.results import enter_results
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.results import FIGURES, GIVEN, read_results
from servicing.hydrostatic.queries import (
    sent_of,
)
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import broken_links
from tests.people import signed_in
from tests.servicing.hydrostatic.away import (
    HOUSE,
    cylinder,
    due_on,
    standing,
)

TESTED, FAILED, DISPUTED, REJECTED = 60, 17, 23, 41


def row_of(number: int, given: dict[str, str], tested_on: date) -> dict[str, str]:
    """Return a row of the house's list: two fail, on one we come to another verdict."""
    filled = {
        "tested_on": tested_on.isoformat(),
        "method": "jacket",
        "outcome": "pass",
        "by": "R. Amble",
        "test_pressure_bar": "450",
        "held_s": "35",
        "total_ml": "62.0",
        "permanent_ml": "1.2",
        "mark": "FCT 7",
    }
    if number == FAILED:
        filled |= {"outcome": "condemn", "permanent_ml": "7.4", "reason": "over 5 %", "mark": ""}
    if number == REJECTED:
        filled = {k: filled[k] for k in ("tested_on", "by")}
        filled |= {"outcome": "reject", "method": "visual", "reason": "thread worn"}
    if number == DISPUTED:
        filled["permanent_ml"] = "3.11"  # 5.0161 %: a house that rounds calls it 5
    return {**given, **filled}


def as_csv(rows: list[dict[str, str]]) -> bytes:
    text = StringIO()
    writer = csv.DictWriter(text, [*GIVEN, *FIGURES])
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def as_workbook(rows: list[dict[str, str]]) -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    columns = [*GIVEN, *FIGURES]
    sheet.append(columns)
    for row in rows:
        sheet.append([row.get(column, "") for column in columns])
    file = BytesIO()
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_sixty_go_out_and_come_back_with_two_failures_and_one_disagreement(
    station: Site, technician: User, manager: User, kind: str
) -> None:
    items = [cylinder(station, f"{number:05d}") for number in range(1, TESTED + 1)]
    desk = signed_in(technician)
    begun = desk.post(
        reverse("consignment-add"),
        {
            "key": "k" * 32,
            "from_site": station.pk,
            "house": HOUSE,
            "tags": "\r\n".join(item.tag for item in items),
        },
    )
    assert begun.status_code == 302
    consignment = Consignment.objects.get()
    left = today_at(station) - timedelta(days=10)
    desk.post(reverse("consignment-move", args=[consignment.pk]), {"on": left.isoformat()})
    assert b"away since" in desk.get(items[0].get_absolute_url()).content

    sent = (
        desk.get(reverse("consignment-csv", args=[consignment.pk])).getvalue().decode("utf-8-sig")
    )
    given = list(csv.DictReader(StringIO(sent)))
    assert len(given) == TESTED
    assert given[0]["asked_pressure_bar"] == "450"
    assert given[0]["owner"] == "Valley service"
    rows = [row_of(n, row, left + timedelta(days=3)) for n, row in enumerate(given, start=1)]
    content = as_csv(rows) if kind == "csv" else as_workbook(rows)
    for _ in range(2):  # the same list again changes nothing
        taken = desk.post(
            reverse("consignment-results", args=[consignment.pk]),
            {"file": SimpleUploadedFile(f"results.{kind}", content)},
        )
        assert taken.status_code == 302

    assert Result.objects.count() == TESTED
    assert all(history_of(item).count() == 1 for item in items)
    words = [standing(item) for item in items]
    assert words.count("in-service") == TESTED - 3
    assert {words[n - 1] for n in (FAILED, REJECTED, DISPUTED)} == {"out-of-service"}
    tested_on = left + timedelta(days=3)
    assert due_on(items[0]) == tested_on.replace(year=tested_on.year + 5)
    disputed = Result.objects.get(consigned__item=items[DISPUTED - 1])
    assert (disputed.house_word, disputed.our_word) == ("pass", "condemn")
    assert disputed.open_question
    assert disputed.counts_as == "condemn"

    page = desk.get(consignment.get_absolute_url()).content.decode()
    assert "2 results wait for a manager: on 1 the house and our arithmetic disagree" in page
    assert "1 condemns a cylinder" in page
    assert "3 did not pass" in page
    assert "5.0161 %" in page
    assert desk.post(reverse("result-settle", args=[disputed.pk])).status_code == 403
    failed = Result.objects.get(consigned__item=items[FAILED - 1])
    path = reverse("result-settle", args=[failed.pk])
    assert "only a manager condemns" in signed_in(manager).get(path).content.decode()
    signed_in(manager).post(path, {"word": "condemn", "why": "7.4 of 62 mL stayed."})
    assert standing(items[FAILED - 1]) == "condemned"
    signed_in(manager).post(
        reverse("result-settle", args=[disputed.pk]),
        {"word": "pass", "why": "Design standard allows 10 %, certificate 4711 seen."},
    )
    disputed.refresh_from_db()
    assert disputed.counts_as == "pass"
    assert (disputed.house_word, disputed.our_word) == ("pass", "condemn"), "both stay"
    assert standing(items[DISPUTED - 1]) == "in-service"
    take_back(consignment=consignment, back_on=today_at(station), user=None)
    assert holding(items[0]) is None
    assert list(broken_links()) == []


def problems_of(away: Consignment, **changed: str) -> list[str]:
    """Return what is said of a list with one row that is good but for the changes."""
    tested_on = today_at(away.from_site) - timedelta(days=7)
    row = row_of(1, {"tag": "00001", "serial": "S-00001"}, tested_on)
    content = as_csv([{**row, **changed}])
    _, problems = read_results("back.csv", content, cylinders=sent_of(away))
    return [str(problem) for problem in problems]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, ""),
        ({"tag": "00099"}, "column tag: '00099' is not a cylinder of this consignment"),
        ({"serial": "S-00002"}, "is not that of 00001, S-00001; find out which was tested"),
        ({"tested_on": "2199-01-01"}, "column tested_on: '2199-01-01' is in the future"),
        ({"tested_on": "2020-01-01"}, "is before the consignment left"),
        ({"tested_on": ""}, "column tested_on: is empty"),
        ({"outcome": "condemned"}, "write condemn if that is meant"),
        ({"outcome": "reject"}, "column reason: is empty; write why it was rejected"),
        ({"method": "guess"}, "write one of direct, jacket, proof, visual"),
        ({"method": "visual"}, "column method: 'visual' is no pressure test"),
        ({"test_pressure_bar": ""}, "column test_pressure_bar: is empty; a pass needs"),
        ({"held_s": ""}, "column held_s: is empty"),
        ({"total_ml": ""}, "column total_ml: is empty; a jacket test measures it"),
        ({"total_ml": "1,200"}, "can be 1200 or 1.200"),
        ({"permanent_ml": "63"}, "column permanent_ml: '63' can't be: The permanent expansion"),
        ({"test_pressure_psi": "6527"}, "stands beside one in bar"),
        ({"limit_percent": "0"}, "is not between 0.1 and 100 %"),
    ],
)
def test_a_bad_row_is_named_with_line_column_value_and_remedy(
    away: Consignment, changed: dict[str, str], says: str
) -> None:
    problems = problems_of(away, **changed)
    assert any(says in problem for problem in problems) if says else problems == []
    assert all(problem.startswith("back.csv:2:") for problem in problems)


def test_a_bad_list_enters_nothing_and_names_every_row(away: Consignment, technician: User) -> None:
    tested_on = today_at(away.from_site) - timedelta(days=7)
    rows = [row_of(n, {"tag": f"{n:05d}"}, tested_on) for n in (1, 2, 3)]
    rows[1]["held_s"] = "half a minute"
    rows[2] = {**rows[2], "tag": "00001"}
    answer = signed_in(technician).post(
        reverse("consignment-results", args=[away.pk]),
        {"file": SimpleUploadedFile("back.csv", as_csv(rows))},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "back.csv:3: column held_s:" in page
    assert "back.csv:4: column tag:" in page
    assert "Nothing was entered: 2 to put right" in page
    assert not Result.objects.exists()


def test_a_list_as_it_went_out_holds_no_results(away: Consignment, technician: User) -> None:
    sent = signed_in(technician).get(reverse("consignment-csv", args=[away.pk])).getvalue()
    results, problems = read_results("list.csv", sent, cylinders=sent_of(away))
    assert results == []
    assert problems == []


def test_pounds_per_square_inch_are_taken_too(
    away: Consignment, fleet: list[Item], technician: User
) -> None:
    tested_on = today_at(away.from_site) - timedelta(days=7)
    row = row_of(1, {"tag": "00001"}, tested_on)
    row |= {"test_pressure_bar": "", "test_pressure_psi": "6527"}
    results, problems = read_results("b.csv", as_csv([row]), cylinders=sent_of(away))
    assert problems == []
    enter_results(consignment=away, results=results, user=technician)
    assert Result.objects.get().our_word == "pass", "6527 psi is 450.02 bar"
