"""What all tests share: three people and a stranger, the rule tables, a browser.

A test that needs a part this machine lacks (PostgreSQL, Chromium) is skipped with the
reason; under CI=true it fails instead.
"""

import fcntl
import gc
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.test import TransactionTestCase
from pytest_django import DjangoDbBlocker

from registry.trail import guards
from tests.console import manage
from tests.worlds import EmptyRegister

pytest_plugins = ["tests.people", "tests.second_engine"]

RACE_ROUNDS = int(os.environ.get("RACE_ROUNDS", "50"))
"""How often two desks are raced; a long run says more (DEVELOPERS.md, Checks)."""


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


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes long by itself, so that at the end no core waits for it."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


def pytest_collection_finish() -> None:
    """Have Python look for garbage seldom, and not at all among what stays for the session.

    A seventh of the time of a page went into looking through the same modules again.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 50, 50)


# Playwright keeps an event loop running in the thread of a browser test; the database is
# used from that thread by the test alone.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A test database; after a transactional test it is again what the migrations made.

    In place of a flush: that would be slower, and the guards refuse DELETE and TRUNCATE.
    """
    with django_db_blocker.unblock():
        empty = EmptyRegister()
    case: Any = TransactionTestCase
    flush = case._fixture_teardown
    case._fixture_teardown = lambda self: empty.put_back()
    yield
    case._fixture_teardown = flush
    with django_db_blocker.unblock():
        end_other_sessions()


def end_other_sessions() -> None:
    """Have PostgreSQL end what else is connected: a database in use can't be dropped."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            " AND usename = current_user"
        )


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder in which the demo was made from a shell: once, and a copy for each worker."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / "demo-made").exists():
            done = manage(shared / "demo-being-made", "demo", "--no-serve")
            assert (done.status, done.err) == (0, "")
            assert done.out.startswith("Neckring's demo. Preparing the database ...")
            assert "records written: " in done.out
            assert "demo-manager, password" in done.out
            (shared / "demo-being-made").rename(shared / "demo-made")
    return Path(shutil.copytree(shared / "demo-made", own / "demo"))


def copy_database(to: Path) -> None:
    """Copy the SQLite database in memory to a file that several desks can open at once.

    It is in WAL mode from the start: a file that two connections both bring into that mode
    at their first breath answers one of them "database is locked", whatever the timeout.
    """
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(to)])
    with closing(sqlite3.connect(to)) as database:
        database.execute("PRAGMA journal_mode=WAL")


@contextmanager
def schema_at(app: str, migration: str) -> Iterator[MigrationExecutor]:
    """Take the schema back to an older one; whatever happens, it is the latest one afterwards."""
    guards.remove(connection)
    executor = MigrationExecutor(connection)
    executor.migrate([(app, migration)])
    try:
        yield executor
    finally:
        guards.remove(connection)
        call_command("migrate", verbosity=0)


def lacking(part: str, remedy: str) -> None:
    """Skip the test for want of a part; fail it in CI, where every part must be there."""
    reason = f"{part} is not here: {remedy}"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
