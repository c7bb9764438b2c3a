"""What all tests share: three people and a stranger, the rule tables, a browser.

A test that needs a part this machine lacks (PostgreSQL, Chromium) is skipped with the
reason; under CI=true it fails instead.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.db import connection, connections
from django.test import TransactionTestCase

from registry.trail import guards

pytest_plugins = ["tests.people"]


def pytest_configure() -> None:
    """Hash passwords fast, and let no law fail because the machine does something else too.

    The tests sign in hundreds of times and guard nothing.
    """
    hypothesis.settings.register_profile(
        "unhurried",
        hypothesis.settings(),
        deadline=None,
        suppress_health_check=[hypothesis.HealthCheck.too_slow],
    )
    hypothesis.settings.load_profile("unhurried")
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


# Playwright keeps an event loop running in the thread of a browser test; the database is
# used from that thread by the test alone.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture(autouse=True, scope="session")
def _tables_can_be_emptied_after_a_test() -> Iterator[None]:
    """Let the tests, and only them, empty the ledger after a transactional test.

    The ledger's guards refuse DELETE and TRUNCATE from anybody, so they are taken away
    while a test database is flushed and put back right after.
    """
    case: Any = TransactionTestCase
    flush = case._fixture_teardown

    def flush_without_guards(self: Any) -> None:
        for each in connections.all(initialized_only=True):
            guards.remove(each)
        flush(self)
        for each in connections.all(initialized_only=True):
            guards.install(each)

    case._fixture_teardown = flush_without_guards
    yield
    case._fixture_teardown = flush


def copy_database(to: Path) -> None:
    """Copy the SQLite database in memory to a file that several desks can open at once.

    It is in WAL mode from the start: a file that two connections both bring into that mode
    at their first breath answers one of them "database is locked", whatever the timeout.
    """
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(to)])
    with closing(sqlite3.connect(to)) as database:
        database.execute("PRAGMA journal_mode=WAL")


def lacking(part: str, remedy: str) -> None:
    """Skip the test for want of a part; fail it in CI, where every part must be there."""
    reason = f"{part} is not here: {remedy}"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
