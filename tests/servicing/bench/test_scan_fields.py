"""Every field that takes a scan, and that each recovers by itself from a bad one. D2, D18.

A scanner has no hand to clear a field with: without script, a refused code is gone from its
field, stands in the message, and the field has the focus. Where a new such field comes in,
the first test here fails until it is listed and tried below and in
tests/browser/test_scan_fields.py.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.items.models import Item
from registry.sites.models import Site
from tests.people import make_item, signed_in
from tests.servicing.bench.desk import Desk
from tests.servicing.bench.test_batches import Crate

ROOT = Path(__file__).resolve().parents[3]
MADE_IN = {
    "servicing/desk/bench/forms/batches.py": ["ScanInput(waits=True)", "ScanInput()"],
    "servicing/desk/bench/forms/steps.py": ["ScanInput()", "ScanInput()", "ScanInput()"],
    "servicing/desk/sets/forms.py": ["ScanInput(waits=True)"],
    "servicing/desk/retests/forms/consignments.py": ["ScanLines(rows=8)", "ScanLines(rows=3)"],
}
"""A batch's next item and a new part's number in it; a step's part, an instrument and a second
person; a set's part; the cylinders of a consignment, new and more. Beside them the one field
of every page's head, which the filling point answers too."""


def test_every_scan_field_is_made_in_one_place_and_listed_here() -> None:
    found = {}
    for path in sorted(p for app in ("registry", "servicing") for p in (ROOT / app).rglob("*.py")):
        text = path.read_text()
        if path.name == "forms.py" and path.parent.name == "scanning":
            continue
        assert not re.search("data-(takes-)?scans?", text), path
        if made := re.findall(r"(?<!class )Scan(?:Input|Lines)\([^)]*\)", text):
            found[path.relative_to(ROOT).as_posix()] = made
    assert found == MADE_IN
    pages = {p.name: p.read_text() for p in (ROOT / "templates").rglob("*.html")}
    assert not [name for name, text in pages.items() if re.search("data-(takes-)?scans?", text)]
    assert [name for name, text in pages.items() if 'id="scan"' in text] == ["base.html"]


INSTRUMENT = "scan_mask-test-bench"
Field = tuple[Callable[[str], Any], str, str]
"""How to scan into it, its name, and what it takes."""


def field_of(page: str, name: str) -> str:
    found = re.search(rf'<(?:input|textarea)[^>]* name="{re.escape(name)}"[^>]*>[^<]*', page)
    assert found is not None, name
    return found[0]


@pytest.fixture
def fields(
    station: Site, technician: User, test_bench: Item, today: Any, mask: Item
) -> dict[str, Field]:
    client: Client = signed_in(technician)
    set_item = make_item(station, "S001", "set", model="Ravine")
    desk, crate = Desk(technician, mask), Crate(technician, test_bench)
    for tag in ("C0105", "C0106"):
        make_item(station, tag, "cylinder")
    make_item(station, "00124")
    day = {"done_on": today.isoformat()}
    start = {"procedure": "mask-tightness-test", **day}
    begun = {"key": "c" * 32, "from_site": station.pk, "house": "Ferrule Test House"}
    open_one = client.post("/retests/add/", begun)["Location"]
    parts, keys = f"/items/{set_item.pk}/parts/", iter(range(9))
    return {
        "the next item of a batch": (crate.scan, "tag", "00124"),
        "an instrument": (
            lambda code: desk.set(**{INSTRUMENT: code}, **day),
            INSTRUMENT,
            "B01",
        ),
        "an instrument of a batch": (
            lambda code: client.post("/bench/batch/", {**start, INSTRUMENT: code}),
            INSTRUMENT,
            "B01",
        ),
        "a part of a set": (
            lambda code: client.post(parts, {"key": f"key{next(keys)}", "tag": code}),
            "tag",
            "",  # put in only once it is confirmed
        ),
        "the cylinders of a new consignment": (
            lambda code: client.post("/retests/add/", {**begun, "key": code, "tags": code}),
            "tags",
            "C0105",
        ),
        "more cylinders": (
            lambda code: client.post(f"{open_one}change/", {"tags": code}),
            "tags",
            "C0106",
        ),
    }


def test_a_refused_code_stands_in_the_message_and_not_in_the_field(
    fields: dict[str, Field],
) -> None:
    for what, (scan, name, good) in fields.items():
        refused = scan("WRONG<1")
        assert refused.status_code == 422, what
        page = refused.content.decode()
        assert "WRONG&lt;1" in page, what
        field = field_of(page, name)
        assert "WRONG" not in field, what
        # The first autofocus of a page has the focus, without script too.
        focused = re.search(r"<[a-z]+[^>]* autofocus[^>]*>", page)
        assert focused is not None, what
        assert f'name="{name}"' in focused[0], what
        if good:
            assert scan(good).status_code == 302, what


def test_the_good_lines_of_a_refused_list_stay(
    fields: dict[str, Field],
) -> None:
    scan, name, _ = fields["more cylinders"]
    page = scan("C0105\r\nC01O5\r\n").content.decode()
    assert field_of(page, name).rstrip().endswith(">\nC0105")
    assert "Not in the register: C01O5" in page
