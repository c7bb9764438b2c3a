"""Running manage.py as somebody at a terminal does, with a data folder of its own."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OURS = ("NECKRING_", "DJANGO_", "DATABASE_URL", "PYTHON")


@dataclass(frozen=True)
class Said:
    """What a command left behind."""

    status: int
    out: str
    err: str


def environment(folder: Path, **settings: str) -> dict[str, str]:
    """Return the environment of a shell in which only these settings are made."""
    bare = {name: value for name, value in os.environ.items() if not name.startswith(OURS)}
    return {**bare, "NECKRING_DATA_DIR": str(folder), **settings}


def python(folder: Path, *words: str, **settings: str) -> Said:
    """Run Python in the program's folder."""
    done = subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=environment(folder, **settings),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def manage(folder: Path, *words: str, **settings: str) -> Said:
    """Run a command of the program on the embedded database in a folder."""
    return python(folder, "manage.py", *words, **settings)
