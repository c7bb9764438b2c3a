"""What was acknowledged is kept, however the server dies: C1."""

import http.client
import json
import os
import random
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from threading import Event
from urllib.parse import urlencode

import pytest
from django.conf import settings

from registry.sites.clock import today_at
from tests.console import ROOT, environment
from tests.people import make_item, signed_in
from tests.servicing.filling.test_race import on_disk
from tests.use_cases import Register, make_register

ROUNDS = int(os.environ.get("KILL_ROUNDS", "3"))
SERVE = "import sys, waitress; from config.wsgi import application as a;"
SERVE += " waitress.serve(a, host='127.0.0.1', port=int(sys.argv[1]), threads=4)"
LOOK = """
import json, django
django.setup()
from servicing.due.actions.store import recompute
from servicing.ledger.models import Record
from servicing.ledger.queries.whole import ledger_faults
print(json.dumps([list(Record.objects.values_list("entry_key", flat=True)),
                  list(ledger_faults()), recompute()]))
"""
CSRF = "k" * 32
Post = tuple[str, str, dict[str, str]]
"""A person's session, the address they post to, and what they say there."""


@contextmanager
def serving(port: int, shell: dict[str, str]) -> Iterator[None]:
    """Serve, and kill the server as a power cut would."""
    server = subprocess.Popen([sys.executable, "-c", SERVE, str(port)], cwd=ROOT, env=shell)
    try:
        until = time.monotonic() + 60
        while not answers(port):
            assert server.poll() is None
            assert time.monotonic() < until
        yield
    finally:
        server.kill()
        server.wait()


def answers(port: int) -> bool:
    try:
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as talk:
            talk.request("GET", "/live")
            return talk.getresponse().status == 200
    except OSError:
        time.sleep(0.05)
        return False


def post_until(stop: Event, port: int, name: str, post: Post) -> list[str]:
    """Enter one service after another; return the keys of those acknowledged."""
    cookie, path, said = post
    kept: list[str] = []
    headers = {
        "Cookie": f"session={cookie}; csrf={CSRF}",
        "Content-Type": "application/x-www-form-urlencoded",
    }
    while not stop.is_set():
        key = f"{name}-{len(kept)}"
        body = urlencode({**said, "key": key, "csrfmiddlewaretoken": CSRF})
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as talk:
                talk.request("POST", path, body, headers)
                answer = talk.getresponse()
                where, page = answer.getheader("Location", ""), answer.read()
        except (OSError, http.client.HTTPException):
            break
        assert "/records/" in where, page.decode()
        kept.append(key)
    return kept


@pytest.fixture
def posts(transactional_db: None) -> list[Post]:
    """Four people at four desks, two to an item: cookie, address, and what each says."""
    register: Register = make_register()
    masks = [make_item(register.site, tag) for tag in ("K1", "K2")]
    today = today_at(register.site)
    said = {"task": "cleaning", "outcome": "pass", "performed_by": "Tekla", "step": "enter"}
    said |= {
        "done_on": today.isoformat(),
        "note": "x" * 500,
        "reading_1": "leak",
        "value_1": "1.10",
    }
    people = (register.technician, register.manager, register.second, register.technician)
    return [
        (signed_in(user).cookies["session"].value, f"/items/{masks[n % 2].pk}/service/", said)
        for n, user in enumerate(people)
    ]


@pytest.mark.long
def test_every_acknowledged_record_outlives_a_killed_server(
    posts: list[Post], tmp_path: Path
) -> None:
    shell = environment(tmp_path, **on_disk(tmp_path), NECKRING_SECRET_KEY=settings.SECRET_KEY)
    shell |= {"DJANGO_SETTINGS_MODULE": "config.settings", "PYTHONPATH": str(ROOT)}
    chance, acknowledged = random.Random(1), []
    for number in range(ROUNDS):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        stop = Event()
        with ThreadPoolExecutor(len(posts)) as desks:
            with serving(port, shell):
                at_work = [
                    desks.submit(post_until, stop, port, f"{number}-{desk}", post)
                    for desk, post in enumerate(posts)
                ]
                time.sleep(chance.uniform(0.5, 1.5))
            stop.set()
            acknowledged += [key for each in at_work for key in each.result(timeout=60)]
        look = subprocess.run(
            [sys.executable, "-c", LOOK],
            cwd=ROOT,
            env=shell,
            capture_output=True,
            text=True,
            check=True,
        )
        held, faults, moved = json.loads(look.stdout)
        assert sorted(held) == sorted(set(held))
        assert set(acknowledged) <= set(held)
        assert (faults, moved) == ([], 0), number
    assert len(acknowledged) >= ROUNDS
