"""Registering items by list and on screen, finding them again, and looking back: C26, D19, D20."""

import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.db.models import Model

from registry.items.models import Item, ItemType
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.services import Service, log_service
from servicing.due.actions.store import recompute
from servicing.due.models import DueSpan, StoredObligation
from servicing.ledger.queries.whole import broken_links
from tests.people import make_item, retag, signed_in
from tests.registry.lists.making import HEAD

HEADER = f"{HEAD},construction,water_capacity_l,working_pressure_bar,test_pressure_bar"
CYLINDER = "C-{n:02},cylinder,Kombrek,K6,KB{n},2019-0{m},2019-12-01,ST1,type-1,6,300,450"
MASK = "M-{n:02},mask,Pellwright,Vizard,PW{n},2020-03-10,2020-04-01,ST1,,,,"
ROWS = tuple((CYLINDER if n % 2 else MASK).format(n=n, m=1 + n % 9) for n in range(20))
TYPED = {
    "tag": "00456",
    "kind": "cylinder",
    "maker": "Kombrek",
    "model": "K6",
    "serial": "KB-77",
    "made_on": "2019-06",
    "in_service_on": "2019-08-01",
    "working_pressure_bar": "300",
    "construction": "type-1",
    "water_capacity_l": "6,8",
    "test_pressure_bar": "450",
}


def brought_in(folder: Path, *rows: str, check: bool = False) -> tuple[int, str, str]:
    """Return exit status, standard output and standard error of import_register."""
    file = folder / "register.csv"
    file.write_text("\n".join((HEADER, *rows)) + "\n", encoding="utf-8")
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("import_register", str(file), check=check, stdout=out, stderr=err)
    except CommandError as refusal:
        return refusal.returncode, out.getvalue(), f"{err.getvalue()}{refusal}"
    return 0, out.getvalue(), err.getvalue()


def register_rows() -> list[list[dict[str, Any]]]:
    """Return everything a list could change, due dates included."""
    tables: tuple[type[Model], ...] = (Item, ItemType, DueSpan, StoredObligation)
    return [list(model._default_manager.order_by("pk").values()) for model in tables]


def due_of(tag: str, task: str) -> date | None:
    return StoredObligation.objects.get(item__tag=tag, task=task).due_on


# ── By list ─────────────────────────────────────────────────────────────────────────────────────


def test_twenty_good_rows_are_twenty_items_with_due_dates(station: Site, tmp_path: Path) -> None:
    status, said, complaints = brought_in(tmp_path, *ROWS)
    assert (status, complaints) == (0, "")
    assert "20 items new, 0 changed, 0 as they were" in said
    assert Item.objects.count() == 20
    assert not Item.objects.exclude(obligations__isnull=False).exists()
    assert recompute() == 0


def test_the_same_list_again_changes_nothing(station: Site, tmp_path: Path) -> None:
    brought_in(tmp_path, *ROWS)
    before = register_rows()
    assert "0 items new, 0 changed, 20 as they were" in brought_in(tmp_path, *ROWS)[1]
    assert register_rows() == before


def test_a_changed_row_changes_the_item_and_its_due_dates(station: Site, tmp_path: Path) -> None:
    # ISO 18119:2018, informative annex: metal cylinders for breathing air every 5 years.
    brought_in(tmp_path, *ROWS)
    assert due_of("C-01", "hydrostatic-retest") == date(2024, 2, 1)
    changed = ROWS[1].replace("2019-02", "2019-05")
    assert (
        "0 items new, 1 changed, 19 as they were"
        in brought_in(tmp_path, ROWS[0], changed, *ROWS[2:])[1]
    )
    assert Item.objects.get(tag="C-01").made_on == date(2019, 5, 1)
    assert due_of("C-01", "hydrostatic-retest") == date(2024, 5, 1)
    assert recompute() == 0


def test_a_list_moves_an_item_to_another_site(station: Site, tmp_path: Path) -> None:
    brought_in(tmp_path, *ROWS)
    brought_in(tmp_path, ROWS[3].replace("ST1", "VAL"))
    assert Item.objects.get(tag="C-03").site.code == "VAL"
    assert Item.objects.count() == 20


def test_a_tag_with_another_serial_is_refused_and_nothing_is_written(
    station: Site, tmp_path: Path
) -> None:
    brought_in(tmp_path, *ROWS[:5])
    before = register_rows()
    status, said, complaints = brought_in(tmp_path, *ROWS[1:], ROWS[0].replace("PW0", "PW99"))
    assert (status, said) == (1, "")
    assert "register.csv:21: column tag: 'M-00' is registered with maker Pellwright" in complaints
    assert complaints.endswith("1 problem found, nothing was written")
    assert register_rows() == before


def test_a_serial_under_another_tag_is_refused(station: Site, tmp_path: Path) -> None:
    brought_in(tmp_path, ROWS[0])
    status, _, complaints = brought_in(tmp_path, ROWS[0].replace("M-00", "M-77"))
    assert (status, "is registered with the tag M-00" in complaints) == (1, True)
    assert Item.objects.count() == 1


def test_checking_a_list_writes_nothing(station: Site, tmp_path: Path) -> None:
    assert brought_in(tmp_path, *ROWS, check=True) == (
        0,
        "20 items could be written; nothing was\n",
        "",
    )
    assert not Item.objects.exists()


LIFE_HEADER = f"{HEADER},design_life_years,marks"


def test_new_tags_that_may_be_read_for_another_are_asked_about_and_refused_for_nothing(
    station: Site, manager: User, tmp_path: Path
) -> None:
    brought_in(tmp_path, MASK.format(n=7), MASK.format(n=8))
    retag(Item.objects.get(tag="M-08"), "M-99", manager)
    new = [
        MASK.replace("M-{n:02}", tag).format(n=n) for n, tag in enumerate(["M7", "M8", "M-50"], 50)
    ]
    status, said, complaints = brought_in(tmp_path, *new, MASK.format(n=7), check=True)
    assert (status, complaints) == (0, "")
    assert "4 items could be written; nothing was\n2 questions to look at" in said
    assert "csv:2: column tag: 'M7' may be read for M-07, which is registered (" in said
    assert "csv:3: column tag: 'M8' may be read for M-08, which was the tag of M-99 (" in said
    status, said, _ = brought_in(tmp_path, *new)
    assert (status, "3 items new" in said, "2 questions to look at" in said) == (0, True, True)
    assert "question" not in brought_in(tmp_path, *new)[1]


def test_two_new_rows_that_look_alike_are_asked_about(station: Site, tmp_path: Path) -> None:
    rows = [MASK.format(n=1), MASK.replace("M-{n:02}", "MO1").format(n=2)]
    said = brought_in(tmp_path, *rows, check=True)[1]
    assert "csv:3: column tag: 'MO1' may be read for M-01, which stands in line 2 (" in said


@pytest.mark.parametrize("registered", [True, False])
def test_a_new_tag_that_only_capitals_tell_from_another_is_asked_about_as_the_form_does(
    station: Site, tmp_path: Path, *, registered: bool
) -> None:
    first, second = MASK.format(n=1), MASK.replace("M-{n:02}", "m-01").format(n=2)
    if registered:
        brought_in(tmp_path, first)
    status, said, complaints = brought_in(tmp_path, first, second)
    where = "is registered" if registered else "stands in line 2"
    assert (status, complaints) == (0, "")
    assert f"'m-01' may be read for M-01, which {where} (" in said
    assert Item.objects.count() == 2


def test_a_life_that_others_of_the_type_have_is_asked_for_once_a_type(
    station: Site, tmp_path: Path
) -> None:
    rows = [
        f"{CYLINDER.format(n=1, m=2)},15,",
        *(f"{CYLINDER.format(n=n, m=2)},," for n in (2, 3)),
        f"{CYLINDER.format(n=4, m=2)},,nll",
        f"{MASK.format(n=5)},,",
    ]
    file = tmp_path / "register.csv"
    file.write_text("\n".join((LIFE_HEADER, *rows)) + "\n", encoding="utf-8")
    out = io.StringIO()
    call_command("import_register", str(file), stdout=out)
    said = out.getvalue()
    assert "5 items new" in said
    assert "1 question to look at" in said
    assert "csv:3: column design_life_years: 'C-02' is empty (nor have those in lines 4)" in said
    assert "others of Kombrek K6 have 15 years" in said


# ── On screen ───────────────────────────────────────────────────────────────────────────────────


def test_a_technician_registers_an_item_on_screen(station: Site, technician: User) -> None:
    client = signed_in(technician)
    answer = client.post("/items/add/", {**TYPED, "site": station.pk})
    item = Item.objects.get(tag="00456")
    assert (answer.status_code, answer["Location"]) == (302, f"/items/{item.pk}/")
    assert (item.made_on, item.made_to_month) == (date(2019, 6, 1), True)
    assert item.water_capacity_l == Decimal("6.8")
    assert due_of("00456", "hydrostatic-retest") == date(2024, 6, 1)
    page = client.get(answer["Location"]).content.decode()
    assert "Jun 2019, day not known" in page
    assert "6.8 L" in page


def test_a_tag_that_may_be_read_for_another_is_asked_about_before_it_is_registered(
    station: Site, technician: User
) -> None:
    held = make_item(station, "OO456", "mask")
    client, sent = signed_in(technician), {**TYPED, "site": station.pk}
    answer = client.post("/items/add/", sent)
    page = answer.content.decode()
    assert (answer.status_code, Item.objects.count()) == (422, 1)
    assert "Tag: 00456 may be read for OO456" in page
    assert f'<a href="/items/{held.pk}/">OO456</a>' in page
    assert '<input type="checkbox" id="id_another" name="another" value="00456">' in page
    # The tick is for the tag that was asked about, and for no other.
    assert (
        client.post("/items/add/", {**sent, "tag": "0O456", "another": "00456"}).status_code == 422
    )
    assert client.post("/items/add/", {**sent, "another": "00456"}).status_code == 302
    # What is named already is not asked about again.
    item = Item.objects.get(tag="00456")
    change = {**sent, "size": "M", "why": "measured"}
    assert "may be read for" not in client.post(f"/items/{item.pk}/edit/", change).content.decode()


def test_a_life_that_others_of_the_type_have_is_asked_for_on_screen(
    station: Site, technician: User
) -> None:
    names = {"maker": "Kombrek", "model": "K6"}
    for number in (15, 15, 20):
        tag = f"C{Item.objects.count()}"
        make_item(station, tag, "cylinder", **names, design_life_years=number)
    client, sent = signed_in(technician), {**TYPED, "site": station.pk}
    answer = client.post("/items/add/", sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Design life: others of Kombrek K6 have 15 years" in page
    assert 'name="no_life" value="yes"' in page
    for number, given in enumerate(
        ({"design_life_years": "15"}, {"marks": "nll"}, {"no_life": "yes"}, {"made_on": ""})
    ):
        own = {"tag": f"N{number}", "serial": f"N-{number}", **given}
        assert client.post("/items/add/", {**sent, **own}).status_code == 302, given


def test_the_edit_page_shows_what_is_known_and_saves_what_is_changed(
    station: Site, technician: User
) -> None:
    client = signed_in(technician)
    client.post("/items/add/", {**TYPED, "site": station.pk})
    item = Item.objects.get(tag="00456")
    item_edit = f"/items/{item.pk}/edit/"
    form = client.get(item_edit).context["form"]
    shown = {name: form[name].value() for name in form.fields}
    assert {name: shown[name] for name in TYPED} == {
        **TYPED,
        "water_capacity_l": "6.8",
    }
    kept = {name: "" if value is None else value for name, value in shown.items()}
    said = {**kept, "made_on": "2019-07-15", "why": "stamp read"}
    assert "Dates that would move" in client.post(item_edit, said).content.decode()
    client.post(item_edit, {**said, "step": "enter"})
    item.refresh_from_db()
    assert (item.made_on, item.made_to_month) == (date(2019, 7, 15), False)
    assert due_of("00456", "hydrostatic-retest") == date(2024, 7, 15)
    assert item.water_capacity_l == Decimal("6.8")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"tag": ""}, "Tag: write it as it stands on the item."),
        ({"kind": ""}, "Kind: choose what it is."),
        ({"made_on": "2019-13"}, "Made on: 2019-13 has the month 13, and there are 12; write"),
        ({"made_on": "June 2019"}, "Made on: June 2019 is not in the form YYYY-MM; write 2019-06"),
        ({"made_on": "2019-02-30"}, "Made on: 2019-02-30 does not exist: February 2019 has 28"),
        ({"made_on": "2119-06"}, "Made on: 2119-06 is in the future; at ST1 today is "),
        (
            {"in_service_on": "2019-05-31"},
            "In service on: 2019-05-31 is before it was made, 2019-06;",
        ),
        ({"water_capacity_l": "six"}, "Water capacity: six is not a number; write digits"),
        ({"water_capacity_l": "1,200"}, "Water capacity: 1,200 can be 1200 or 1.200; write"),
        ({"water_capacity_l": "680"}, "Water capacity: 680 is not between 0.1 and 150 L; check"),
        (
            {"test_pressure_bar": "200"},
            "Test pressure: 200 is below the working pressure of 300 bar;",
        ),
        (
            {"specification": "EN 12245"},
            "Specification: EN 12245 has spaces or small letters; write",
        ),
        ({"specification": "dot-3ht"}, "small letters; write it with hyphens, DOT-3HT."),
        ({"kind": "mask"}, "Water capacity: 6,8 belongs to cylinders only; empty the field"),
        (
            {"design_life_years": "1,5"},
            "Design life: 1,5 is not a whole number; write whole years.",
        ),
    ],
    ids=lambda value: str(value)[:40],
)
def test_what_cannot_be_is_refused_in_words_with_the_entries_kept(
    station: Site, technician: User, typed: dict[str, str], words: str
) -> None:
    answer = signed_in(technician).post("/items/add/", {**TYPED, "site": station.pk, **typed})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "<title>Error: " in page
    # Once in the summary at the top, with a link to the field, and once beside the field.
    assert page.index("Sent back</b> to be put right") < page.index(words) < page.rindex(words)
    form = answer.context["form"]
    assert {name: form[name].value() for name in {**TYPED, **typed}} == {**TYPED, **typed}
    assert not Item.objects.exists()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"tag": "00123", "kind": "mask"}, "tag: 00123 is on another item; give this one its own."),
        (
            {"maker": "Pellwright", "serial": "S-00123"},
            "serial: s-00123 by pellwright is registered already, as 00123.",
        ),
    ],
    ids=["tag", "maker and serial"],
)
def test_a_tag_or_a_plate_that_is_taken_is_refused_with_the_entries_kept(
    mask: Item, technician: User, typed: dict[str, str], words: str
) -> None:
    cylinder_only = ("construction", "water_capacity_l", "test_pressure_bar")
    entries = {**TYPED, "kind": "mask", **typed} | dict.fromkeys(cylinder_only, "")
    answer = signed_in(technician).post("/items/add/", {**entries, "site": mask.site_id})
    assert answer.status_code == 422
    assert words in answer.content.decode().lower()
    assert answer.context["form"]["serial"].value() == entries["serial"]
    assert list(Item.objects.all()) == [mask]


def test_an_edit_that_takes_the_tag_of_another_item_changes_neither(
    mask: Item, technician: User
) -> None:
    other = make_item(mask.site, "00124")
    before = register_rows()
    client = signed_in(technician)
    form = client.get(f"/items/{other.pk}/edit/").context["form"]
    kept = {name: form[name].value() or "" for name in form.fields}
    answer = client.post(f"/items/{other.pk}/edit/", {**kept, "tag": mask.tag})
    assert answer.status_code == 422
    assert register_rows() == before


# ── Types ───────────────────────────────────────────────────────────────────────────────────────


def test_a_type_is_renamed_on_all_its_items_and_records_keep_the_old_name(
    mask: Item, technician: User
) -> None:
    other = make_item(mask.site, "00124")
    record = log_service(
        item=mask,
        service=Service("cleaning", today_at(mask.site), "pass", "Tekla Merrow"),
        user=technician,
        entry_key="k",
    )
    client = signed_in(technician)
    page = client.get("/types/").content.decode()
    assert "1 type<" in page
    answer = client.post(
        f"/types/{mask.type_id}/edit/", {"maker": "Pellwright & Sons", "model": "Vizard II"}
    )
    assert (answer.status_code, answer["Location"]) == (302, "/types/")
    for item in Item.objects.filter(pk__in=[mask.pk, other.pk]):
        assert (item.maker, str(item.type)) == ("Pellwright & Sons", "Pellwright & Sons Vizard II")
    record.refresh_from_db()
    assert record.marked_as == "00123 · Pellwright · S-00123"
    assert list(broken_links()) == []
    assert recompute() == 0


@pytest.mark.parametrize(
    ("maker", "model"),
    [("Ferrowane", "Vizard"), ("Ferrowane", "Other"), ("", "Vizard")],
    ids=["the name of another type", "a plate that is taken", "no maker"],
)
def test_a_type_that_cannot_be_renamed_so_stays_as_it_is(
    mask: Item, technician: User, maker: str, model: str
) -> None:
    make_item(mask.site, "00777", maker="Ferrowane", serial=mask.serial)
    before = register_rows()
    answer = signed_in(technician).post(
        f"/types/{mask.type_id}/edit/", {"maker": maker, "model": model}
    )
    assert answer.status_code == 422
    assert "Sent back</b> to be put right" in answer.content.decode()
    assert answer.context["form"]["maker"].value() == maker
    assert register_rows() == before


# ── Found again ─────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("read", ["00123", " 00123 ", "S-00123"])
def test_a_scan_leads_to_the_item_with_that_tag_or_serial(
    mask: Item, technician: User, read: str
) -> None:
    answer = signed_in(technician).get("/find/", {"q": read})
    assert (answer.status_code, answer["Location"]) == (302, f"/items/{mask.pk}/")


def test_a_tag_goes_before_a_serial(mask: Item, technician: User) -> None:
    make_item(mask.site, "00777", serial="00123")
    assert signed_in(technician).get("/find/?q=00123")["Location"] == f"/items/{mask.pk}/"


@pytest.mark.parametrize("read", ["123", "0123", "000123", "s-00123"])
def test_other_zeros_or_capitals_are_offered_and_never_taken(
    mask: Item, technician: User, read: str
) -> None:
    answer = signed_in(technician).get("/find/", {"q": read})
    page = answer.content.decode()
    assert answer.status_code == 404
    assert f"Nothing carries the mark {read}" in page
    assert f"{len(read)} characters" in page
    assert f'<a href="/items/{mask.pk}/">00123</a>' in page


def test_zeros_in_front_tell_two_items_apart(mask: Item, technician: User) -> None:
    bare = make_item(mask.site, "123")
    client = signed_in(technician)
    assert client.get("/find/?q=123")["Location"] == f"/items/{bare.pk}/"
    assert client.get("/find/?q=00123")["Location"] == f"/items/{mask.pk}/"


def test_two_items_with_one_serial_are_both_shown(mask: Item, technician: User) -> None:
    other = make_item(mask.site, "00777", maker="Ferrowane", serial=mask.serial)
    answer = signed_in(technician).get("/find/", {"q": mask.serial, "on": "2024-05-01"})
    assert answer.status_code == 200
    for item in (mask, other):
        assert f'href="/items/{item.pk}/?on=2024-05-01"' in answer.content.decode()


def test_an_unknown_mark_is_shown_as_read_and_can_be_registered(
    mask: Item, technician: User, auditor: User
) -> None:
    read = "X/9 <b>&"
    page = signed_in(technician).get("/find/", {"q": read})
    assert page.status_code == 404
    text = page.content.decode()
    assert "Nothing carries the mark X/9 &lt;b&gt;&amp;" in text
    assert f'href="/items/add/?tag={quote(read)}"' in text
    form = signed_in(technician).get("/items/add/", {"tag": read}).context["form"]
    assert form["tag"].value() == read
    assert "/items/add/" not in signed_in(auditor).get("/find/", {"q": read}).content.decode()


@pytest.mark.parametrize("query", ["", "?q=", "?q=%20%20"])
def test_an_empty_scan_asks_for_one(mask: Item, technician: User, query: str) -> None:
    answer = signed_in(technician).get(f"/find/{query}")
    assert (answer.status_code, "Scan or type a tag first" in answer.content.decode()) == (
        404,
        True,
    )


def test_the_day_asked_about_goes_along(mask: Item, auditor: User) -> None:
    answer = signed_in(auditor).get("/find/", {"q": "00123", "on": "2024-05-01"})
    assert answer["Location"] == f"/items/{mask.pk}/?on=2024-05-01"


# ── As of a day ─────────────────────────────────────────────────────────────────────────────────


@pytest.fixture
def tested_mask(mask: Item, technician: User) -> Item:
    """The mask with a tightness test of 100 days ago and one of today."""
    today = today_at(mask.site)
    for days, note in ((100, "the first test"), (0, "the second test")):
        log_service(
            item=mask,
            service=Service(
                "tightness-test", today - timedelta(days=days), "pass", "Tekla Merrow", note
            ),
            user=technician,
            entry_key=note,
        )
    return mask


def test_the_item_page_of_a_past_day_knows_only_what_was_done_by_then(
    tested_mask: Item, auditor: User
) -> None:
    client, today = signed_in(auditor), today_at(tested_mask.site)
    now = client.get(f"/items/{tested_mask.pk}/").content.decode()
    assert "the first test" in now
    assert "the second test" in now
    assert "<strong>As of" not in now
    day = today - timedelta(days=50)
    then = client.get(f"/items/{tested_mask.pk}/", {"on": day.isoformat()})
    page = then.content.decode()
    assert "the first test" in page
    assert "the second test" not in page
    assert f"<strong>As of {day.day} {day:%b %Y}</strong>" in page
    assert then.context["on"] == day


def test_the_item_page_shows_the_due_date_as_it_stood_on_the_day(
    tested_mask: Item, auditor: User
) -> None:
    client, today = signed_in(auditor), today_at(tested_mask.site)

    def due(on: date) -> date:
        tasks = client.get(f"/items/{tested_mask.pk}/?on={on}").context["tasks"]
        found: date = next(task.due_on for task in tasks if task.task == "tightness-test")
        return found

    assert due(today - timedelta(days=50)) < due(today)


def test_an_item_owes_nothing_before_it_was_made(mask: Item, auditor: User) -> None:
    page = signed_in(auditor).get(f"/items/{mask.pk}/", {"on": "2020-03-09"})
    assert page.context["tasks"] == ()
    assert "No rule asks anything of this item on this day." in page.content.decode()


@pytest.mark.parametrize(
    ("zone", "done_on", "days"),
    [
        # Four in the morning of 3 March, UTC, is still the evening of the second in the west.
        ("America/New_York", date(2025, 3, 2), 0),
        ("Europe/Vienna", date(2025, 3, 2), 1),
        ("Pacific/Kiritimati", date(2025, 3, 3), 0),
        ("Pacific/Kiritimati", date(2025, 2, 21), 10),
    ],
)
def test_an_entry_is_late_by_the_calendar_of_the_site(
    mask: Item, technician: User, zone: str, done_on: date, days: int
) -> None:
    Site.objects.update(timezone=zone)
    service = Service("tightness-test", done_on, "pass", "Tekla Merrow")
    at = datetime(2025, 3, 3, 4, 0, tzinfo=UTC)
    record = log_service(item=mask, service=service, user=technician, entry_key="k", at=at)
    assert record.days_late == days


def test_a_late_entry_says_how_late_it_was(tested_mask: Item, auditor: User) -> None:
    assert "100 days later" in signed_in(auditor).get(f"/items/{tested_mask.pk}/").content.decode()
    page = signed_in(auditor).get(f"/items/{tested_mask.pk}/records/1/").content.decode()
    assert "entered 100 days later than the work was done" in page
