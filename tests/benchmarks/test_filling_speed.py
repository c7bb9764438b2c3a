"""How long the filling point takes to answer among a hundred thousand cylinders.

Measured twice: the answer alone, and the whole page as somebody who is signed in gets it,
through every middleware, the view and the templates. Run with `pytest tests/benchmarks
--benchmark-enable`; without it the same code runs once on less. No figure is a limit: the
table gives the ratio to the same answer among a hundredth of the cylinders, in one run. That
the number of queries stays the same is held by tests/servicing/filling/test_pages.py.
"""

import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from registry.items.models import Item, ItemType
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.models import DueSpan, StoredObligation
from servicing.filling.queries import answer
from servicing.rules.models import RuleVersion
from tests.servicing.filling.conftest import Point, point  # noqa: F401 (a fixture)

TASKS = ("hydrostatic-retest", "internal-inspection", "external-inspection")
ROUNDS = 15


def grow(site: Site, first: int, until: int) -> None:
    """Put cylinders with stored due dates into the register, past the engine: it is not asked."""
    kind = ItemType.objects.get_or_create(kind="cylinder", maker="Ferrowane", model="Row")[0]
    rule, today = RuleVersion.objects.earliest("pk"), today_at(site)
    items = [
        Item(
            tag=f"B{number:06}",
            type=kind,
            maker="Ferrowane",
            serial=f"BS-{number:06}",
            site=site,
            made_on=date(2019, 1, 1),
            working_pressure_bar=300,
            test_pressure_bar=450,
        )
        for number in range(first, until)
    ]
    Item.objects.bulk_create(items, batch_size=500)
    made = Item.objects.filter(tag__gte=f"B{first:06}", tag__lt=f"B{until:06}")
    ids = list(made.values_list("pk", flat=True))
    DueSpan.objects.bulk_create(
        [DueSpan(item_id=pk, standing="in-service") for pk in ids], batch_size=500
    )
    StoredObligation.objects.bulk_create(
        [
            StoredObligation(
                item_id=pk,
                task=task,
                due_on=today + timedelta(days=300 + pk % 700),
                soon_on=today + timedelta(days=200),
                overdue_on=today + timedelta(days=301 + pk % 700),
                rule=rule,
                counted_from="record",
                basis_on=today,
            )
            for pk in ids
            for task in TASKS
        ],
        batch_size=500,
    )


def seconds(work: Callable[[], Any]) -> float:
    """Return the fewest seconds that some work takes."""
    work()
    taken = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


@pytest.mark.parametrize("code", ["B000007", "B00000X"])
@pytest.mark.parametrize("what", ["the answer", "the whole page"])
def test_an_answer_among_a_hundred_thousand_cylinders(
    benchmark: BenchmarkFixture,
    request: pytest.FixtureRequest,
    point: Point,  # noqa: F811
    what: str,
    code: str,
) -> None:
    enabled: bool = benchmark.enabled
    few, many = (1000, 100_000) if enabled else (20, 200)
    client = point.client()

    def answered() -> bool:
        return answer(code, point.compressor).verdict.fill

    def page() -> bool:
        fill: bool = client.get("/filling/", {"q": code}).context["answer"].verdict.fill
        return fill

    asked = answered if what == "the answer" else page
    grow(point.site, 0, few)
    before = seconds(asked)
    grow(point.site, few, many)
    after = seconds(asked)
    runner: Any = benchmark
    assert runner.pedantic(asked, rounds=ROUNDS) == (code == "B000007")
    if enabled:
        benchmark.extra_info["ratio"] = round(after / before, 2)
        capture = request.config.pluginmanager.get_plugin("capturemanager")
        assert capture is not None
        with capture.global_and_fixture_disabled():
            print(  # noqa: T201
                f"\n{what}, {code} among {many}: {after * 1000:.1f} ms, "
                f"{after / before:.2f} x the same among {few}"
            )
