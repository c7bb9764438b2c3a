"""One register of the ladder, measured in a process of its own: see ladder.py."""

import json
import logging
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client
from django.urls import NoReverseMatch, reverse

from registry.items.models import Item
from registry.sites.clock import today_at
from tests.benchmarks.grown import demo_and_copies
from tests.test_addresses import ADDRESSES

ROLES = ("technician", "manager", "auditor")
STEP = 100
"""So many steps of SQLite's machine are counted at once."""


def pages() -> Iterator[tuple[str, str]]:
    """Yield the name and the address of every page that can be opened on the demo."""
    here = _here()
    for name, address in ADDRESSES.items():
        if name in ("logout", "filling-compressor"):
            continue
        try:
            yield name, reverse(name, args=[here[arg] for arg in address.args]) + _query(address)
        except (KeyError, NoReverseMatch):
            continue
    yield from _asked(here)


def _query(address: Any) -> str:
    query = {"q": "00121"} if "q" in address.query else address.query
    return "?" + "&".join(f"{key}={said}" for key, said in query.items()) if query else ""


def _asked(here: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield lists with questions: the last page, another order, a day that went by."""
    month_ago = here["today"] - timedelta(days=30)
    for name in ("due-list", "item-list", "set-list", "trail", "paper-list"):
        yield f"{name} last page", f"{reverse(name)}?page=1000000"
    for name, query in {
        "due-list": "sort=tag",
        "due-list ": "state=overdue",
        "item-list": "sort=-tag",
        "item-list ": "kind=mask",
        "item-list  ": "text=00121",
        "set-list": f"site={here['code']}",
    }.items():
        yield f"{name.strip()} {query}", f"{reverse(name.strip())}?{query}"
    for name in ("due-list", "item-list"):
        yield f"{name} a month ago", f"{reverse(name)}?on={month_ago}"
    yield "item with 2000 records", reverse("item", args=[here["fat"]])
    yield "overdue-pdf of a station", f"{reverse('overdue-pdf')}?site={here['code']}"


def _here() -> dict[str, Any]:
    """Return what addresses name, taken from the demo itself."""
    items = Item.objects.filter(pk__lt=1_000_000).select_related("site").order_by("pk")
    item, whole = items.filter(type__kind="mask")[0], items.filter(type__kind="set")[0]
    cylinder = items.filter(type__kind="cylinder")[5]
    gauge = items.filter(type__kind="instrument")[0]
    consignment = apps.get_model("servicing", "Consignment").objects.order_by("pk").first()
    fitting = whole.fittings.filter(removed_on=None)[0]
    return {
        "item": item.pk,
        "cylinder": cylinder.pk,
        "position": 1,
        "site": item.site_id,
        "code": item.site.code,
        "type": item.type_id,
        "type of instrument": gauge.type_id,
        "decision": "withdraw",
        "person": User.objects.order_by("pk")[0].pk,
        "away": consignment.pk if consignment else None,
        "set": whole.pk,
        "fitting": fitting.pk,
        "task": "mask-monthly",
        "fat": items[1].pk,
        "today": today_at(item.site),
    }


class Measured:
    """What goes by while a page is made: queries, their time, and the rows they read."""

    def __init__(self) -> None:
        self.queries, self.seconds, self.rows = 0, 0.0, 0.0
        self.asked: list[tuple[str, Any]] = []

    def __call__(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        begun = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            self.queries += 1
            self.seconds += time.perf_counter() - begun
            if not many and sql.startswith("SELECT"):
                self.asked.append((sql, params))

    def stepped(self) -> int:
        """Count so many steps of SQLite's machine."""
        self.rows += 1
        return 0

    def explained(self) -> None:
        """Have PostgreSQL say how many rows the scans of each question read."""
        with connection.cursor() as cursor:
            for sql, params in self.asked:
                cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) {sql}", params)
                plan = cursor.fetchone()[0]
                plan = json.loads(plan) if isinstance(plan, str) else plan
                self.rows += _read(plan[0]["Plan"])


def _read(plan: dict[str, Any]) -> float:
    own = 0.0
    if "Scan" in plan["Node Type"] and "Subquery" not in plan["Node Type"]:
        removed = sum(n for key, n in plan.items() if key.startswith("Rows Removed by"))
        own = (plan["Actual Rows"] + removed) * plan["Actual Loops"]
    return own + sum(_read(each) for each in plan.get("Plans", ()))


def memory(name: str) -> float:
    """Return a line of this process's status in megabytes."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(name)) / 1024


def measure(client: Client, address: str) -> dict[str, float] | None:
    """Open a page and return what it took; None where this person may not open it."""
    found = Measured()
    Path("/proc/self/clear_refs").write_text("5")
    before = memory("VmRSS")
    with ExitStack() as stack:
        stack.enter_context(transaction.atomic())
        stack.callback(transaction.set_rollback, True)
        stack.enter_context(connection.execute_wrapper(found))
        if connection.vendor == "sqlite":
            connection.connection.set_progress_handler(found.stepped, STEP)
            stack.callback(connection.connection.set_progress_handler, None, STEP)
        begun = time.perf_counter()
        answer = client.get(address)
        if answer.status_code >= 400:
            return None
        took = time.perf_counter() - begun
    peak = memory("VmHWM") - before
    if connection.vendor == "postgresql":
        with transaction.atomic():
            found.explained()
    return {
        "queries": found.queries,
        "rows": found.rows,
        "sql_ms": found.seconds * 1000,
        "ms": took * 1000,
        "mb": max(peak, 0),
    }


def make(items: int) -> None:
    """Make the register, where it isn't there yet; else bring it up to date."""
    tables = connection.introspection.table_names()
    if "registry_item" in tables and Item.objects.count() >= items:
        call_command("migrate", verbosity=0)
        return
    demo_and_copies(items)


def main() -> None:
    settings.ALLOWED_HOSTS = ["testserver"]
    settings.SECURE_SSL_REDIRECT = False
    logging.disable(logging.CRITICAL)  # pages that a role may not open
    make(int(sys.argv[1]))
    only = tuple(sys.argv[2:])
    found: dict[str, Any] = {}
    for role in ROLES:
        client = Client()
        client.force_login(User.objects.get(username=f"demo-{role}"))
        for name, address in pages():
            if only and not name.startswith(only):
                continue
            figures = measure(client, address)
            if figures and figures["ms"] < 1000:  # what a first time costs is not the page's
                figures = measure(client, address)
            if figures:
                found[f"{name} {role}"] = figures
                sys.stderr.write(f"{sys.argv[1]:>8} {name} {role} {figures['ms']:.0f} ms\n")
    sys.stdout.write(f"{json.dumps(found)}\n")
