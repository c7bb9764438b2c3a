"""How fast dates are computed and lists come in, beside two libraries that also know months.

Run with `pytest tests/benchmarks --benchmark-enable`; without it the same code runs once on
less, and only the results are compared. Machines differ, so no figure here is a limit: the
table at the end gives the ratios. Computing is measured in processor time, lists by the clock.
"""

import random
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta
from pytest_benchmark.fixture import BenchmarkFixture

from registry.items.models import Item
from registry.lists.pure.register import read_register
from registry.sites.models import Site
from servicing.due.actions.history import import_history
from servicing.due.actions.register import import_register
from servicing.due.pure import obligations as engine
from servicing.ledger.pure.history import KnownItem, read_history
from servicing.rules.pure.durations import Duration, add, month_end
from servicing.rules.pure.tables import read_table
from servicing.rules.queries import known_tasks
from tests.registry.lists.making import HEAD

RULES = sorted((Path(__file__).resolve().parents[2] / "fixtures" / "rules").glob("*.toml"))
INTERVALS = (1, 3, 6, 12, 30, 60, 120, 180)
TODAY = date(2026, 11, 25)
KINDS = ("mask", "demand-valve", "reducer", "frame", "cylinder")
COMPUTING = pytest.mark.benchmark(timer=time.process_time)
OURS = "due date, ours"
DONE = ("tightness-test", "cleaning", "functional-test", "visual-inspection", "use", "fill")

Figures = dict[str, tuple[float, str]]


@pytest.fixture(scope="module")
def figures(request: pytest.FixtureRequest) -> Iterator[Figures]:
    """What was measured, as (number, unit); shown as a table at the end."""
    found: Figures = {}
    yield found
    plugins = request.config.pluginmanager
    reporter, capture = map(plugins.get_plugin, ("terminalreporter", "capturemanager"))
    if not found or reporter is None or capture is None:
        return
    ours = found.get(OURS, (0.0, ""))[0]
    with capture.global_and_fixture_disabled():
        reporter.write_line("")
        for name, (number, unit) in sorted(found.items()):
            ratio = f"{number / ours:8.2f} x ours" if ours and unit == "ns each" else ""
            reporter.write_line(f"{name:<36}{number:>10,.0f} {unit:<14}{ratio}".rstrip())


def measured(
    benchmark: BenchmarkFixture,
    work: Callable[[], Any],
    name: str,
    figures: Figures,
    *,
    rounds: int,
) -> Any:
    """Run some work, several times if it is measured, and note the fewest seconds it took."""
    runner: Any = benchmark
    result = runner.pedantic(work, rounds=rounds, warmup_rounds=min(1, rounds - 1))
    if runner.enabled:
        figures[name] = (runner.stats.stats.min, "s")
    return result


def per_piece(
    benchmark: BenchmarkFixture, figures: Figures, name: str, pieces: int, unit: str
) -> None:
    """Turn noted seconds into nanoseconds a piece, or into pieces a second."""
    if not benchmark.enabled:
        return
    seconds = figures[name][0]
    figure = seconds / pieces * 1e9 if unit.startswith("ns") else pieces / seconds
    figures[name] = (figure, unit)
    benchmark.extra_info[unit] = round(figure)
    benchmark.extra_info["pieces"] = pieces


# --- one due date: an interval of months from a day, then the end of that month


@pytest.fixture(scope="module")
def starts(request: pytest.FixtureRequest) -> list[tuple[date, int]]:
    """Random days and intervals, the same ones for everybody."""
    dice = random.Random(1182)
    many = 200_000 if request.config.getoption("benchmark_enable") else 20_000
    first = date(1996, 1, 1)
    return [
        (first + timedelta(days=dice.randrange(39_800)), dice.choice(INTERVALS))
        for _ in range(many)
    ]


def ours(starts: list[tuple[date, int]]) -> list[date]:
    spans = {months: Duration(months) for months in INTERVALS}
    return [month_end(add(day, spans[months])) for day, months in starts]


def by_dateutil(starts: list[tuple[date, int]]) -> list[date]:
    steps = {months: relativedelta(months=months, day=31) for months in INTERVALS}
    return [day + steps[months] for day, months in starts]


def by_numpy(days: Any, months: Any) -> Any:
    """Return the ends of the months on which the days fall after their intervals, all at once."""
    into = days - days.astype("datetime64[M]").astype("datetime64[D]")
    month = days.astype("datetime64[M]") + months
    end = (month + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    moved = np.minimum(month.astype("datetime64[D]") + into, end)
    return (moved.astype("datetime64[M]") + 1).astype("datetime64[D]") - np.timedelta64(1, "D")


@COMPUTING
def test_a_due_date_by_the_engine(
    benchmark: BenchmarkFixture, figures: Figures, starts: list[tuple[date, int]]
) -> None:
    name = OURS
    found = measured(benchmark, lambda: ours(starts), name, figures, rounds=5)
    per_piece(benchmark, figures, name, len(starts), "ns each")
    assert found == by_dateutil(starts)


@COMPUTING
def test_a_due_date_by_dateutil(
    benchmark: BenchmarkFixture, figures: Figures, starts: list[tuple[date, int]]
) -> None:
    name = "due date, python-dateutil in a loop"
    found = measured(benchmark, lambda: by_dateutil(starts), name, figures, rounds=3)
    per_piece(benchmark, figures, name, len(starts), "ns each")
    assert found == ours(starts)


@COMPUTING
def test_a_due_date_by_numpy(
    benchmark: BenchmarkFixture, figures: Figures, starts: list[tuple[date, int]]
) -> None:
    name = "due date, numpy all at once"
    days = np.array([day for day, _ in starts], dtype="datetime64[D]")
    months = np.array([months for _, months in starts])
    found = measured(benchmark, lambda: by_numpy(days, months), name, figures, rounds=5)
    per_piece(benchmark, figures, name, len(starts), "ns each")
    assert found.tolist() == ours(starts)


# --- everything an item owes, by the three real tables


@COMPUTING
def test_what_items_owe_by_the_engine(benchmark: BenchmarkFixture, figures: Figures) -> None:
    dice = random.Random(180)
    rules = [rule for path in RULES for rule in read_table(path.name, path.read_text())[0].rules]
    fleet = [
        engine.Item({"kind": KINDS[number % 5]}, TODAY - timedelta(days=dice.randrange(3000)), None)
        for number in range(2000 if benchmark.enabled else 200)
    ]
    histories = [
        [
            engine.Record(dice.choice(DONE), TODAY - timedelta(days=dice.randrange(2000)), "pass")
            for _ in range(10)
        ]
        for _ in fleet
    ]
    # As the program does it: the rules that match are picked once for items that are alike.
    matching = {kind: [rule for rule in rules if rule.matches({"kind": kind})] for kind in KINDS}

    def owed() -> list[engine.Obligation]:
        return [
            obligation
            for item, records in zip(fleet, histories, strict=True)
            for obligation in engine.obligations(
                item, records, matching[str(item.attributes["kind"])], TODAY
            )
        ]

    name = "obligation, 10 records an item"
    found = measured(benchmark, owed, name, figures, rounds=3)
    per_piece(benchmark, figures, name, len(found), "ns each")
    assert found == [
        obligation
        for item, records in zip(fleet, histories, strict=True)
        for obligation in engine.obligations(item, records, rules, TODAY)
    ]


# --- lists brought in, from bytes to stored due dates


def register_csv(items: int) -> bytes:
    lines = [HEAD]
    lines += [
        f"T{number:05},{KINDS[number % 5]},Pellwright,M{number % 40},S{number:05},"
        f"{2010 + number % 15}-{1 + number % 12:02},,ST1"
        for number in range(items)
    ]
    return "\n".join(lines).encode()


def history_csv(items: int, rows: int) -> bytes:
    dice = random.Random(49)
    lines = ["tag,task,done_on,outcome,by,note"]
    lines += [
        f"T{number % items:05},{dice.choice(DONE)},{TODAY - timedelta(days=dice.randrange(700))},"
        f"{'fail' if number % 40 == 0 else 'pass'},T. Merrow,"
        for number in range(rows)
    ]
    return "\n".join(lines).encode()


def bring_in_register(content: bytes) -> int:
    rows, problems = read_register("register.csv", content, sites={"ST1": TODAY}, registered={})
    assert not problems
    return import_register(rows).new


def bring_in_history(content: bytes) -> int:
    known = {
        tag: KnownItem(made_on, TODAY, None)
        for tag, made_on in Item.objects.values_list("tag", "made_on")
    }
    rows, problems = read_history("done.csv", content, items=known, tasks=known_tasks())
    assert not problems
    return import_history(rows, file="done.csv", file_hash="0" * 64)[0]


@pytest.mark.usefixtures("station")
def test_a_register_comes_in(benchmark: BenchmarkFixture, figures: Figures) -> None:
    items = 2000 if benchmark.enabled else 100
    content, name = register_csv(items), "register brought in"
    assert measured(benchmark, lambda: bring_in_register(content), name, figures, rounds=1) == items
    per_piece(benchmark, figures, name, items, "rows a second")


def test_a_history_comes_in(benchmark: BenchmarkFixture, figures: Figures, station: Site) -> None:
    items, rows = (2000, 20_000) if benchmark.enabled else (100, 1000)
    bring_in_register(register_csv(items))
    content, name = history_csv(items, rows), "history brought in"
    assert measured(benchmark, lambda: bring_in_history(content), name, figures, rounds=1) == rows
    per_piece(benchmark, figures, name, rows, "rows a second")
