"""What all tests share: three people and a stranger, the rule tables, a browser.

A test that needs a part this machine lacks (PostgreSQL, Chromium) is skipped with the
reason; under CI=true it fails instead.
"""

import os
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.db import connections
from django.test import TransactionTestCase

from registry.trail import guards

pytest_plugins = ["tests.people"]


def pytest_configure() -> None:
    """Hash passwords fast: the tests sign in hundreds of times and guard nothing."""
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
        for connection in connections.all(initialized_only=True):
            guards.remove(connection)
        flush(self)
        for connection in connections.all(initialized_only=True):
            guards.install(connection)

    case._fixture_teardown = flush_without_guards
    yield
    case._fixture_teardown = flush


def lacking(part: str, remedy: str) -> None:
    """Skip the test for want of a part; fail it in CI, where every part must be there."""
    reason = f"{part} is not here: {remedy}"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
