"""What is left out of a second run on another engine: `--second-engine`, as `.ci/run` asks.

Without the option every test runs, on either engine.
"""

from typing import Any

import pytest

OPTION = "--second-engine"
LEFT_OUT = "left out of the second engine"
MAIN_ROADS = {"test_journey.py", "test_bench.py", "test_filling.py", "test_retests.py"}
"""The files of tests/browser that run on both engines all the same.

What the server answers is asked on both by the tests of each subject; what a browser makes
of the answer doesn't hang on the engine.
"""
_left_out = [0]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        OPTION,
        action="store_true",
        help="leave out what a run on the other engine has asked: tests that use no database "
        "or one of their own, benchmarks, and all of the browser but its main roads",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption(OPTION):
        return
    out = [item for item in items if not _asks_the_engine(item)]
    items[:] = [item for item in items if _asks_the_engine(item)]
    config.hook.pytest_deselected(items=out)
    _tell(config, len(out))


def _asks_the_engine(item: pytest.Item) -> bool:
    """Say whether what a test finds can hang on the engine under its database."""
    folder, names = item.path.parent.name, getattr(item, "fixturenames", ())
    if folder == "browser":
        return item.path.name in MAIN_ROADS
    marked = item.get_closest_marker("django_db") is not None
    return folder != "benchmarks" and (marked or bool({"db", "transactional_db"} & set(names)))


def _tell(config: pytest.Config, left_out: int) -> None:
    """Keep the count for the last lines; a worker of several hands it to who wrote them."""
    _left_out[0] = left_out
    output: dict[str, Any] | None = getattr(config, "workeroutput", None)
    if output is not None:
        output[LEFT_OUT] = left_out


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Take over what a worker left out: each collects the same tests."""
    _left_out[0] = getattr(node, "workeroutput", {}).get(LEFT_OUT, 0)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    if _left_out[0]:
        terminalreporter.write_line(f"{_left_out[0]} tests {LEFT_OUT}: they ran on the first")
