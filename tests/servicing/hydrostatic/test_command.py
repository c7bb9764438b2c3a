"""`manage.py hydro` as README shows it, and its exit status."""

import json
import re
import shlex
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests.console import ROOT

BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)


def shown_in_readme() -> list[tuple[str, str]]:
    """Return each command of README's section with what it is said to print."""
    section = (ROOT / "README.md").read_text("utf-8").partition("## Hydrostatic tests")[2]
    section = section.partition("\n## ")[0]
    shown = []
    for block in BLOCK.findall(section):
        for piece in block.split("$ manage.py ")[1:]:
            command, _, output = piece.partition("\n")
            shown.append((command, output))
    return shown


def hydro(*words: str) -> tuple[int, str]:
    """Run the command and return its exit status and what it printed."""
    out = StringIO()
    try:
        call_command("hydro", *words, stdout=out)
    except SystemExit as end:
        return int(end.code or 0), out.getvalue()
    except CommandError as problem:
        return problem.returncode, str(problem)
    return 0, out.getvalue()


def test_readme_shows_the_three_published_examples() -> None:
    shown = " ".join(command for command, _ in shown_in_readme())
    assert len(shown_in_readme()) == 6
    for word in ("gauge", "mark", "pressure", "direct"):
        assert f"hydro {word}" in shown


@pytest.mark.parametrize(("command", "output"), shown_in_readme())
def test_readme_shows_what_the_command_prints(command: str, output: str) -> None:
    _, said = hydro(*shlex.split(command)[1:])
    assert said == output


WALL = ("--pressure", "3750 psi", "--outside", "6.9", "--inside", "6.56")
TEST = ("--specification", "DOT-3AA", "--test-pressure", "5000 psi")


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("jacket", *TEST, "--total", "60", "--permanent", "6"), 0),
        (("jacket", *TEST, "--total", "60", "--permanent", "6.01"), 1),
        (("jacket", *TEST, "--total", "60", "--permanent", "61"), 2),
        (("jacket", *TEST, "--total", "60"), 2),
        (("jacket", *TEST, "--total", "sixty", "--permanent", "6"), 2),
        (("jacket", *TEST, "--total", "nan", "--permanent", "6"), 2),
        (("proof", *TEST), 1),
        (("proof", "--specification", "EN-12245", "--test-pressure", "450 bar"), 0),
        (("proof", "--specification", "XX-1", "--test-pressure", "450 bar"), 2),
        (("proof", "--specification", "EN-12245", "--test-pressure", "450"), 2),
        (("pressure", "--specification", "DOT-SP", "--working", "4500 psi"), 2),
        (("pressure", "--specification", "DOT-3AL", "--working", "2216 psi"), 0),
        (("gauge", "--range", "10000 psi", "--accuracy", "0.6"), 1),
        (("stress", "--pressure", "3750 psi", "--outside", "6.9", "--inside", "6.56"), 0),
        (("stress", "--pressure", "3750 psi", "--outside", "6.9", "--inside", "7"), 2),
        (("stress", *WALL, "--specification", "DOT-3AA", "--tensile", "100000"), 2),
        (("stress", *WALL, "--specification", "DOT-3HT"), 2),
        (("stress", *WALL, "--specification", "DOT-4E"), 2),
        (("water", "--temperature", "15", "--pressure", "232 bar"), 0),
        (("water", "--temperature", "50", "--pressure", "232 bar"), 2),
        (("mark", "--tested", "2026-03-04", "--body", "XY12", "--iso"), 0),
        (("mark", "--tested", "2026-03-04", "--body", "XYZ"), 2),
        (("read-mark", "2021/06"), 0),
        (("read-mark", "03/14"), 2),
        (("guess",), 2),
        ((), 2),
    ],
)
def test_the_exit_status_tells_pass_no_and_wrong_use(words: tuple[str, ...], status: int) -> None:
    # argparse's own refusals come out of call_command as a CommandError of status 1
    found, said = hydro(*words)
    wrong_use = said.startswith("Error:")
    assert (2 if wrong_use else found) == status, said


DAILY = ("--test-pressure", "5000 psi", "--certified", "5000 psi", "--certified-ml", "100")


@pytest.mark.parametrize(("left", "status"), [("0", 0), ("0.1", 1)])
def test_the_days_check_says_whether_to_test(left: str, status: int) -> None:
    words = ("daily", *DAILY, "--showed", "5010 psi", "--read-ml", "100.4", "--left-ml", left)
    found, said = hydro(*words)
    assert found == status
    assert ("rig: good" in said) is (status == 0)


def test_the_check_and_the_repeat_are_of_the_exact_pressure_not_of_the_rounded_one() -> None:
    # 5/3 of 2216 psig is 3693.33; 90 % of it 3324, and not the 3324.6 of 3694 (180.205(g)(5)).
    status, said = hydro("pressure", "--specification", "DOT-3AL", "--working", "2216 psi")
    assert status == 0
    assert "test pressure: 3694 psi\n" in said
    assert "90 % check, at most: 3324 psi\n" in said
    assert "repeat after a failure of the rig: 3793.33 psi\n" in said


@pytest.mark.parametrize(
    ("words", "most", "kept"),
    [
        (("DOT-3AA", "--service", "2250 psi", "--tensile", "100000"), "67000", "yes"),  # B8
        (("DOT-3AA", "--service", "2250 psi", "--tensile", "96000"), "64320", "no"),
        (("DOT-3HT", "--tensile", "165000"), "105000", "yes"),
        (("DOT-3HT", "--tensile", "86000"), "64500", "no"),
        (("DOT-3AL",), "25460", "no"),
    ],
)
def test_a_wall_is_held_against_the_cap_of_its_specification(
    words: tuple[str, ...], most: str, kept: str
) -> None:
    status, said = hydro("stress", *WALL, "--specification", *words)
    assert f"average wall stress psi: 64821.51\nat most psi: {most}\nkept: {kept}\n" in said
    assert status == (0 if kept == "yes" else 1)


def test_json_carries_the_same_and_the_caution() -> None:
    words = ("jacket", *TEST, "--total", "60", "--permanent", "6.01", "--format", "json")
    status, said = hydro(*words)
    found = json.loads(said)
    assert status == 1
    assert found["verdict"] == "condemn"
    assert found["permanent % of total"] == "10.0167"
    assert "approved body" in found["caution"]
