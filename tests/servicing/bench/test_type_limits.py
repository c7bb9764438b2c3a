"""A maker's own limit on screen: stricter only, with its source, and judged by at the bench."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from registry.items.models import Item
from servicing.bench.models import TypeLimit
from tests.people import signed_in
from tests.servicing.bench.desk import STEPS, Desk

STRICT = {
    "reading": "mask-leak",
    "high": "0,5",
    "unit": "mbar",
    "source": "Pellwright manual 12, page 4",
    "why": "new edition",
}


@pytest.fixture
def client_of(manager: User, procedures: None) -> Client:
    return signed_in(manager)


def set_limit(client: Client, item: Item, **more: str) -> Any:
    return client.post(f"/bench/types/{item.type_id}/limits/", {**STRICT, **more})


def test_a_stricter_limit_judges_at_the_bench(client_of: Client, mask: Item, desk: Desk) -> None:
    assert set_limit(client_of, mask).status_code == 302
    for step, given in STEPS[:4]:
        desk.answer(step, given)
    page = desk.client.get(desk.path).content.decode()
    assert "Limit: at most 0.5 mbar. Pellwright manual 12, page 4" in page
    desk.answer("leak", {"typed": "0.7", "unit": "mbar"})
    assert "0.7 mbar is outside the limit: at most 0.5 mbar" in desk.check().content.decode()


def test_a_looser_limit_is_refused_with_both_limits_and_their_source(
    client_of: Client, mask: Item
) -> None:
    answer = set_limit(client_of, mask, high="1.5")
    assert answer.status_code == 422
    assert "at most 1.5 mbar is looser than at most 1 mbar" in answer.content.decode()
    assert 'value="1.5"' in answer.content.decode()
    assert not TypeLimit.objects.exists()


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("source", "", "Source: name the maker"),
        ("why", "", "Why: write why"),
        ("high", "much", "Highest: much is not a number"),
        ("high", "", "Write the lowest or the highest good value"),
        ("reading", "warmth", "warmth is not on the list"),
    ],
)
def test_what_is_missing_is_said_at_its_field(
    client_of: Client, mask: Item, field: str, text: str, said: str
) -> None:
    answer = set_limit(client_of, mask, **{field: text})
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_a_limit_taken_away_stays_to_be_read(client_of: Client, mask: Item) -> None:
    set_limit(client_of, mask)
    path = f"/bench/types/{mask.type_id}/limits/"
    assert client_of.post(path, {"end": "1", "reading": "mask-leak"}).status_code == 422
    ended = {"end": "1", "reading": "mask-leak", "why": "withdrawn by the maker"}
    assert client_of.post(path, ended).status_code == 302
    (limit,) = TypeLimit.objects.all()
    assert limit.ended_at is not None
    assert b"Pellwright manual 12" in client_of.get(path).content
