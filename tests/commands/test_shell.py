"""What a shell sees of wrong use, of settings, and of a reader that leaves early.

Commands that are asked for their words alone run in the test's process, in the other files.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.running import COLUMNS
from tests.console import ROOT, Said, environment, manage_each

WRONG_USE: list[tuple[tuple[str, ...], str]] = [
    (("due", "--wrong"), "error: unrecognized arguments: --wrong"),
    (("due", "--on", "2026-02-30"), "'2026-02-30' is no day; write one as YYYY-MM-DD"),
    (
        ("due", "--state", "sometimes"),
        "invalid choice: 'sometimes' (choose from 'undetermined', 'overdue', ",
    ),
    (("report", "--out", "x.pdf"), "error: "),
    (("duee",), "there is no command 'duee'; did you mean due? "),
    (("help", "no-such"), "there is no command 'no-such'; manage.py help names"),
    (("demo", "--port", "99999"), "'99999': write a whole number from 1 to 65535"),
    (("air", "--capacity", "six", "--pressure", "300"), "'six': write a number such as 60.5"),
    (("import_register",), "error: the following arguments are required: file"),
    (("load_rules", "/no/file.toml"), "CommandError: /no/file.toml: can't be read: No such file"),
    (("due",), "; is it there, and has manage.py migrate been run?"),
]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, ...], Said]:
    """What a shell sees of each wrong use, where no database was made yet."""
    asked = [words for words, _ in WRONG_USE]
    folder = tmp_path_factory.mktemp("nothing")
    return dict(zip(asked, manage_each(folder, asked), strict=True))


@pytest.mark.parametrize(
    ("words", "complaint"),
    WRONG_USE,
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_shell_sees_2_for_wrong_use(
    told: dict[tuple[str, ...], Said], words: tuple[str, ...], complaint: str
) -> None:
    done = told[words]
    assert (done.status, done.out) == (2, "")
    assert complaint in done.err
    assert done.err.count("\n") == 1, "one line says it all"


SETTINGS = [
    ("NECKRING_LOG_LEVEL", "LOUD", "write one of DEBUG, INFO, WARNING, ERROR, CRITICAL"),
    ("NECKRING_DATA_DIR", "", "name a folder, or leave it unset"),
    ("NECKRING_ALLOWED_HOSTS", "https://x.example", "without https://, port or path"),
    ("NECKRING_HTTPS", "yes", "write 1 or 0"),
    ("NECKRING_BEHIND_PROXY", "", "write 1 or 0"),
    ("NECKRING_DEBUG", "true", "write 1 or 0"),
    ("NECKRING_LEAST_FREE_MB", "-1", "write a whole number"),
    ("NECKRING_SECRET_KEY", "short", "use 50 characters"),
    ("DATABASE_URL", "postgres://u:p@host:port/name", "write one such as postgres://"),
]


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> list[Said]:
    """What a shell sees of `check` with each of the settings made."""
    made = [{setting: text} for setting, text, _ in SETTINGS]
    return manage_each(tmp_path_factory.mktemp("set"), [["check"]] * len(made), settings=made)


@pytest.mark.parametrize("number", range(len(SETTINGS)), ids=[name for name, *_ in SETTINGS])
def test_a_setting_nobody_can_mean_is_told_in_one_line(checked: list[Said], number: int) -> None:
    (setting, _, complaint), done = SETTINGS[number], checked[number]
    assert (done.status, done.out, done.err.count("\n")) == (2, "", 1)
    assert done.err.startswith(setting)
    assert complaint in done.err


def test_a_reader_that_has_seen_enough_ends_a_list_without_a_trace(demo: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "manage.py", "due"],
        cwd=ROOT,
        env=environment(demo),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        first = running.stdout.readline()
        running.stdout.close()
        assert running.stderr.read() == ""
    assert first.split() == COLUMNS
    assert running.returncode == 0
