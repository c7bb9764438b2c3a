"""Tests of cylinders are signed where they are entered. A15, A17."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.items.models import Item
from registry.sites.models import Site
from servicing.hydrostatic.models import Result
from servicing.ledger.models import Signature
from servicing.ledger.queries.records import history_of
from servicing.ledger.queries.whole import ledger_faults
from tests.people import PASSWORD, signed_in, unproved
from tests.servicing.hydrostatic.away import Away, by_hand, cylinder, own_test, retests


@pytest.fixture
def at_hand(station: Site, technician: User) -> Away:
    return retests(station, technician)


@pytest.fixture
def own(station: Site) -> Item:
    return cylinder(station, "00700")


def signatures(item: Item) -> list[tuple[str, str]]:
    record = history_of(item)[0]
    return [(each.meaning, each.printed_name) for each in record.signatures.all()]


@pytest.mark.parametrize(
    ("by", "meaning"), [("Tekla Merrow", "performed"), ("N. Amble", "entered")]
)
def test_a_test_of_our_own_is_signed_by_who_did_it_or_enters_it(
    own: Item, technician: User, by: str, meaning: str
) -> None:
    form = own_test(own, "enter", by=by)
    assert signed_in(technician).post(reverse("own-test", args=[own.pk]), form).status_code == 302
    assert signatures(own) == [(meaning, "Tekla Merrow")]
    assert list(ledger_faults()) == []


def test_results_of_a_house_are_signed_as_entered(at_hand: Away, technician: User) -> None:
    row = at_hand.away.cylinders.get(pk=at_hand.waiting)
    form = by_hand(row.item, "enter")
    assert signed_in(technician).post(reverse("result-add", args=[row.pk]), form).status_code == 302
    assert signatures(row.item) == [("entered", "Tekla Merrow")]


def test_a_list_of_results_is_signed_row_by_row(at_hand: Away, technician: User) -> None:
    row = at_hand.away.cylinders.get(pk=at_hand.waiting)
    given = by_hand(row.item, "enter")
    cells = {"tag": row.item.tag, "outcome": given.pop("word"), **given}
    del cells["step"]
    cells |= {"test_pressure_bar": "450", "total_ml": "62.0"}
    del cells["reached"]
    text = f"{','.join(cells)}\n{','.join(cells.values())}\n"
    file = SimpleUploadedFile("back.csv", text.encode())
    path = reverse("consignment-results", args=[at_hand.away.pk])
    answer: Any = signed_in(technician).post(path, {"file": file})
    assert answer.status_code == 302, answer.content.decode()
    assert signatures(row.item) == [("entered", "Tekla Merrow")]


def test_what_a_manager_settles_is_signed_as_performed(at_hand: Away, manager: User) -> None:
    path = reverse("result-settle", args=[at_hand.disputed])
    said = {"word": "pass", "why": "Certificate 4711 seen."}
    assert signed_in(manager).post(path, said).status_code == 302
    item = Result.objects.get(pk=at_hand.disputed).consigned.item
    assert signatures(item) == [("performed", "Manfrid Merrow")]


def test_ten_minutes_after_the_password_nothing_is_entered_without_it(
    at_hand: Away, own: Item, manager: User
) -> None:
    row = at_hand.away.cylinders.get(pk=at_hand.waiting)
    forms = {
        reverse("own-test", args=[own.pk]): own_test(own, "enter"),
        reverse("result-add", args=[row.pk]): by_hand(row.item, "enter"),
        reverse("result-settle", args=[at_hand.disputed]): {"word": "pass", "why": "Seen."},
    }
    client = unproved(signed_in(manager))
    records = history_of(row.item).count()
    for path, form in forms.items():
        for word, problem in (("", "signing needs it"), ("not it at all", "not your password")):
            answer = client.post(path, {**form, "password": word})
            assert answer.status_code == 422, path
            assert problem in answer.content.decode(), path
    assert history_of(row.item).count() == records
    assert not history_of(own).exists()
    assert not Signature.objects.exists()
    for path, form in forms.items():
        assert unproved(client).post(path, {**form, "password": PASSWORD}).status_code == 302, path
    assert Signature.objects.count() == len(forms)
