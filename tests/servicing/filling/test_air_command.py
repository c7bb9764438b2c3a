"""`manage.py air`: figures, formats, status, and the README's own examples. E4, E13."""

import io
import json
import re
import shlex
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.console import ROOT, Said, manage

README = (ROOT / "README.md").read_text()
BLOCKS = re.findall(r"^\$ manage\.py (air .*)\n((?:(?!\$ |```).*\n)*)", README, re.M)


def run(*words: str) -> Said:
    out = io.StringIO()
    try:
        call_command(*words, stdout=out)
    except CommandError as refusal:
        return Said(refusal.returncode, out.getvalue(), str(refusal))
    return Said(0, out.getvalue(), "")


@pytest.mark.parametrize(("words", "expected"), BLOCKS, ids=[words for words, _ in BLOCKS])
def test_the_readme_shows_what_the_command_says(words: str, expected: str) -> None:
    assert run(*shlex.split(words)).out.rstrip() == expected.rstrip()


def test_the_readme_has_examples() -> None:
    assert len(BLOCKS) >= 3


def test_json_gives_names_with_units_and_their_reference_state() -> None:
    found = json.loads(run("air", "--capacity", "6.8", "--pressure", "300", "--format", "json").out)
    assert found["free_air_l_at_15_c_1013_mbar"] == 1825.5, "example G1, CoolProp 8.0.0"
    assert found["ideal_free_air_l"] == 2040.0
    assert found["real_to_ideal"] == 0.8949
    assert found["charge_kg"] == 2.246
    assert (found["to_warning_min"], found["ideal_to_warning_min"]) == (36.3, 41.7)
    assert (found["to_empty_min"], found["ideal_to_empty_min"]) == (45.6, 51.0)
    assert found["work_rate_l_per_min"] == 40
    assert "nominal_minus_10_min" not in found
    assert "doubt at the bench" in found["caution"]


def test_the_convention_is_an_option_that_names_itself() -> None:
    said = run("air", "--capacity", "6", "--pressure", "200", "--nominal-minus-10").out
    assert re.search(r"^nominal - 10 min, min +20\.0$", said, re.M), "example G4"


def test_a_low_test_pressure_sets_where_to_stop() -> None:
    words = shlex.split("air --capacity 6.8 --pressure 0 --temperature 65 --to 300")
    words += ["--test-pressure", "360"]
    assert "stop at 360.0 bar at 65 C (set by the test pressure at 65 C)" in run(*words).out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--capacity", "0", "--pressure", "300"), "water capacity"),
        (("--capacity", "6.8", "--pressure", "300", "--rate", "0"), "work rate"),
        (("--capacity", "6.8", "--pressure", "300", "--temperature", "300"), "temperature"),
        (("--capacity", "6.8", "--pressure", "50", "--from", "x"), "such as 50:300"),
    ],
)
def test_wrong_use_is_status_2(words: tuple[str, ...], said: str) -> None:
    found = run("air", *words)
    assert found.status == 2 or "Error" in found.err
    assert said in found.err


def test_help_shows_examples_and_needs_no_database(tmp_path: Path) -> None:
    found = manage(tmp_path, "air", "--help")
    assert found.status == 0
    assert "Examples:\n  manage.py air --capacity 6.8 --pressure 300\n" in found.out
