"""What the source must keep to, and what it may not fall behind; `python -m tests.measures` prints.

The second kind are today's values. Who makes one better lowers it here; nobody raises one.
"""

from statistics import median

import pytest

from tests import measures

PAGE = len(measures.followed(*measures.ITEM_PAGE, steps=1))
SIZES = [source.lines for source in measures.sources()]
NAMES = [len(measures.imports(source)) for source in measures.sources()]
OUR_NAMES = [len(measures.imports(source, ours=True)) for source in measures.sources()]
SPANS = [span for span, _ in measures.lengths()]


def test_the_clock_is_asked_in_one_file() -> None:
    assert set(measures.clocks()) == {"registry/sites/clock.py"}


def test_no_function_imports() -> None:
    assert measures.hidden_imports() == []


def test_every_function_says_what_it_returns() -> None:
    assert measures.untyped() == []


def test_every_public_function_of_pure_actions_and_queries_says_what_it_does() -> None:
    assert measures.without_docstring() == []


def test_no_public_function_is_used_by_tests_alone() -> None:
    assert measures.unused() == []


def test_files_and_functions_stay_short() -> None:
    assert max(SIZES) <= 400
    assert median(SPANS) <= 8
    assert measures.p90(SPANS) <= 25


@pytest.mark.parametrize(
    ("what", "is_", "today", "aim"),
    [
        ("lines of a file, median", median(SIZES), 87, 60),
        ("lines of a file, 90 %", measures.p90(SIZES), 208, 200),
        ("lines of the longest function", max(SPANS), 60, 60),
        ("names a file imports, median", median(NAMES), 12, 6),
        ("names a file imports, 90 %", measures.p90(NAMES), 30, 20),
        ("names of ours a file imports, median", median(OUR_NAMES), 7, 6),
        ("names of ours a file imports, 90 %", measures.p90(OUR_NAMES), 22, 20),
        ("files to follow the item page: view, what it calls by name, templates", PAGE, 25, 25),
    ],
)
def test_what_has_not_come_to_its_aim_does_not_go_farther_from_it(
    what: str, is_: float, today: int, aim: int
) -> None:
    assert is_ <= today, f"{what}: {is_}, and {aim} is aimed at"


def test_a_page_is_followed_through_what_its_view_names_and_its_templates() -> None:
    found = measures.followed(*measures.ITEM_PAGE, steps=1)
    assert {"servicing/desk/item/views/sheet.py", "templates/desk/item/item.html"} <= found
    assert "servicing/due/queries/engine.py" in found
    assert found < measures.followed(*measures.ITEM_PAGE)


def test_the_measures_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    print("\n".join(measures.report()))  # noqa: T201
    assert "imported names of a file" in capsys.readouterr().out
