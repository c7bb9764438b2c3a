"""Running manage.py as somebody at a terminal does, with a data folder of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
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
    return _python(ROOT, folder, words, settings)


def _python(root: Path, folder: Path, words: Sequence[str], settings: dict[str, str]) -> Said:
    done = subprocess.run(
        [sys.executable, *words],
        cwd=root,
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


EACH = """
import gc, json, os, sys, tempfile, traceback
from importlib import import_module
import django
from django.conf import settings
from config.commands import main

asked = json.loads(sys.argv[1])
if not any(made for _, made in asked):
    django.setup()
    import_module(settings.ROOT_URLCONF)  # nearly every command checks the addresses first
gc.freeze()
said = []
for words, made in asked:
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        if not (child := os.fork()):
            os.environ.update(made)
            os.dup2(out.fileno(), 1)
            os.dup2(err.fileno(), 2)
            sys.argv = ["manage.py", *words]
            status = 0
            try:
                main()
            except SystemExit as end:
                status = end.code or 0
            except BaseException:
                traceback.print_exc()
                status = 1
            if isinstance(status, str):
                print(status, file=sys.stderr)
                status = 1
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)  # taking all that was loaded apart again takes longer than a command
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        said.append([status, *((f.seek(0), f.read().decode())[1] for f in (out, err))])
json.dump(said, sys.stdout)
"""


def manage_each(
    folder: Path,
    asked: Sequence[Sequence[str]],
    *,
    settings: Sequence[Mapping[str, str]] = (),
    root: Path = ROOT,
) -> list[Said]:
    """Run commands one after the other, each in a process of its own that begins as manage.py does.

    What they all load is loaded once, before they part: that is most of what a command costs.

    settings: of each command, beside those they share; then what hangs on settings is not
    loaded before.
    """
    made = settings or [{}] * len(asked)
    words = ("-c", EACH, json.dumps([*zip(asked, made, strict=True)]))
    done = _python(root, folder, words, {"DJANGO_SETTINGS_MODULE": "config.settings"})
    assert (done.status, done.err) == (0, "")
    return [Said(*each) for each in json.loads(done.out)]
