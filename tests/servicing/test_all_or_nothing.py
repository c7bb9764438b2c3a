"""Whatever statement fails, a use case writes nothing at all: C2."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction
from django.db.models import Q

from servicing.ledger.queries.whole import ledger_faults
from tests.use_cases import USE_CASES, Register, register

__all__ = ["register"]


class Statements:
    """Counts what is sent to the database, and has one of it fail as a full disk would."""

    def __init__(self, failing: int = 0) -> None:
        self.failing, self.sent = failing, 0

    def __call__(self, execute: Callable[..., Any], *statement: Any) -> Any:
        self.sent += 1
        if self.sent == self.failing:
            raise OperationalError("database or disk is full")
        return execute(*statement)


def unfailing(check: Callable[..., bool]) -> Callable[..., bool]:
    """Return Django's question about a constraint, asked before it saves, spared by us.

    Django takes a failure of the question for a yes, and the database asks again on saving.
    """

    def spared(*args: Any, **options: Any) -> bool:
        kept, connection.execute_wrappers = connection.execute_wrappers, []
        try:
            return check(*args, **options)
        finally:
            connection.execute_wrappers = kept

    return spared


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of every table as it lies in the database."""
    found = {}
    with connection.cursor() as cursor:
        for name in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{name}"')
            found[name] = sorted(cursor.fetchall(), key=repr)
    return found


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.mark.parametrize("name", USE_CASES)
def test_a_statement_that_fails_leaves_the_database_as_it_was(
    register: Register, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Q, "check", unfailing(Q.check))
    deed, before = USE_CASES[name], everything()
    whole = Statements()
    with undone(), connection.execute_wrapper(whole):
        deed(register)
    assert everything() == before
    for number in range(1, whole.sent + 1):
        failing = Statements(number)
        with suppress(OperationalError), connection.execute_wrapper(failing):
            deed(register)
            pytest.fail(f"statement {number} of {failing.sent} failed, and nobody was told")
        assert everything() == before, f"statement {number} of {whole.sent}"
    deed(register)
    assert everything() != before
    assert list(ledger_faults()) == []
