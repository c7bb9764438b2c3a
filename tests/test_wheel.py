"""The wheel: everything the program needs comes along, and it runs from anywhere."""

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from zipfile import ZipFile

from tests.console import ROOT, Said, environment

PARTS = ("config", "registry", "servicing", "reports", "templates", "fixtures")
BESIDE = ("pyproject.toml", "README.md", "LICENSE", "manage.py")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def wanted(file: str) -> list[str]:
    """Return what a list of requirements asks for itself, in its order."""
    lines = (ROOT / file).read_text("utf-8").splitlines()
    return [line for line in lines if line and not line.startswith(("#", "-r"))]


def run(*words: str | Path, folder: Path, **settings: str) -> Said:
    done = subprocess.run(
        [str(word) for word in words],
        cwd=folder,
        env=environment(folder / "data", HOME=str(folder), **settings),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def built(folder: Path) -> Path:
    """Build the wheel from a copy, so that nothing is left behind in the checkout."""
    source = folder / "source"
    for part in PARTS:
        left = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / part, source / part, ignore=left)
    for name in BESIDE:
        shutil.copy(ROOT / name, source / name)
    how = ("wheel", source, "--no-deps", "--no-build-isolation", "--no-index", "-w", folder)
    made = run(sys.executable, "-m", "pip", *how, folder=folder)
    assert made.status == 0, made.err
    [wheel] = folder.glob("neckring-*.whl")
    return wheel


def test_what_the_program_needs_is_said_once_in_two_files() -> None:
    assert PROJECT["project"]["dependencies"] == wanted("requirements.in")
    [backend] = PROJECT["build-system"]["requires"]
    assert backend in wanted("requirements-dev.in")
    assert re.search(rf"^{backend} ", (ROOT / "requirements-dev.txt").read_text(), re.MULTILINE)


def test_the_wheel_holds_every_file_and_runs_from_another_folder(tmp_path: Path) -> None:
    wheel = built(tmp_path)
    inside = {name for name in ZipFile(wheel).namelist() if ".dist-info/" not in name}
    lies = {
        path.relative_to(ROOT).as_posix()
        for part in PARTS
        for path in (ROOT / part).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert inside == lies

    site = tmp_path / "site"
    how = ("--no-deps", "--no-index", "--no-compile", "--target", site, wheel)
    put = run(sys.executable, "-m", "pip", "install", *how, folder=tmp_path)
    assert put.status == 0, put.err
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()

    def neckring(*words: str) -> Said:
        return run(site / "bin" / "neckring", *words, folder=elsewhere, PYTHONPATH=str(site))

    assert neckring("--version").out == f"{PROJECT['project']['version']}\n"
    # Its files are found too, limits from fixtures; the checks of every command come before.
    asked = ("hydro", "pressure", "--specification", "DOT-3AA", "--working", "2250 psi")
    assert "3750 psi" in neckring(*asked).out
    unknown = neckring("duee")
    assert (unknown.status, unknown.err[:16]) == (2, "neckring: error:")
    # Whoever has the wheel has no manage.py: messages and help name the command.
    for said in (neckring("due").err, neckring("due", "--help").out):
        assert "neckring " in said
        assert "manage.py" not in said
