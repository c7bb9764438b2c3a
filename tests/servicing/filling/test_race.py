"""Two desks at once: a filling never follows what forbids it, on either engine. C7, C8.

Two processes with a database on disk meet before each round, so that their transactions
overlap in every way they can.
"""

import json
import subprocess
import sys
from pathlib import Path
from urllib.parse import quote

import pytest
from django.db import connection

from registry.items.models import Item
from tests.conftest import copy_database
from tests.console import ROOT, environment
from tests.people import make_compressor, make_cylinder
from tests.servicing.filling.conftest import Point
from tests.worlds import world_fixture

ROUNDS = 12
DESK = """
import json, os, sys, time
from pathlib import Path
import django
django.setup()
from decimal import Decimal
from django.contrib.auth.models import User
from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.due.actions.services import Service, log_service
from servicing.filling.actions import FillRefused, GaugeReading, log_fill
from servicing.filling.pure.gas import density_kg_per_m3

me, meeting, plan = sys.argv[1], Path(sys.argv[2]), json.loads(sys.argv[3])
user = User.objects.get(username="tekla")
density_kg_per_m3(300, 15)  # loaded before the first round, not in it
for number, (deed, tag, compressor, key) in enumerate(plan):
    item = Item.objects.select_related("type", "site").get(tag=tag)
    air = Item.objects.select_related("type", "site").get(tag=compressor)
    (meeting / f"{number}-{me}").touch()
    while not all((meeting / f"{number}-{desk}").exists() for desk in "ab"):
        time.sleep(0.0002)
    try:
        if deed == "fill":
            log_fill(item=item, compressor=air, reading=GaugeReading(Decimal(300), Decimal(15)),
                     user=user, entry_key=key)
        else:
            task, outcome = deed.split()
            what = air if task == "air-quality-test" else item
            log_service(item=what, service=Service(task, today_at(what.site), outcome, "T"),
                        user=user, entry_key=key)
    except FillRefused:
        pass
"""
pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]
Plan = list[tuple[str, str, str, str]]


def on_disk(folder: Path) -> dict[str, str]:
    """Return the settings of a database that other processes can open, with what is in it."""
    if connection.vendor == "postgresql":
        said = connection.settings_dict
        name, password = quote(str(said["NAME"])), quote(str(said["PASSWORD"]))
        where = f"{said['HOST'] or '127.0.0.1'}:{said['PORT'] or 5432}"
        return {"DATABASE_URL": f"postgres://{said['USER']}:{password}@{where}/{name}"}
    copy_database(folder / "neckring.sqlite3")
    return {}


def race(folder: Path, one: Plan, other: Plan) -> dict[str, list[tuple[int, str, str]]]:
    """Let two desks work at once; return (place, task, outcome) by tag.

    Places count through the whole ledger in the order of entry.
    """
    settings = {**on_disk(folder), "DJANGO_SETTINGS_MODULE": "config.settings"}
    meeting = folder / "meeting"
    meeting.mkdir()
    shell = environment(folder, **settings)
    desks = [
        subprocess.Popen(
            [sys.executable, "-c", DESK, me, str(meeting), json.dumps(plan)],
            cwd=ROOT,
            env={**shell, "PYTHONPATH": str(ROOT)},
            stderr=subprocess.PIPE,
            text=True,
        )
        for me, plan in (("a", one), ("b", other))
    ]
    complaints = [desk.communicate(timeout=240)[1] for desk in desks]
    assert [desk.returncode for desk in desks] == [0, 0], complaints
    asked = """
import django, json
django.setup()
from servicing.ledger.models import Record
rows = Record.objects.order_by("pk").values_list("item__tag", "pk", "task", "outcome")
print(json.dumps(list(rows)))
"""
    said = subprocess.run(
        [sys.executable, "-c", asked],
        cwd=ROOT,
        env={**shell, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, list[tuple[int, str, str]]] = {}
    for tag, place, task, outcome in json.loads(said.stdout):
        found.setdefault(tag, []).append((place, task, outcome))
    return found


def places(rows: list[tuple[int, str, str]], task: str, outcome: str = "pass") -> list[int]:
    return [place for place, done, how in rows if (done, how) == (task, outcome)]


@world_fixture
def cylinders(transactional_db: None, point: Point) -> list[Item]:
    return [make_cylinder(point.site, f"R{n:03}", point.technician) for n in range(ROUNDS)]


@pytest.mark.parametrize("deed", ["internal-inspection condemned", "external-inspection fail"])
def test_a_filling_never_follows_what_forbids_it(
    cylinders: list[Item], tmp_path: Path, deed: str
) -> None:
    one = [("fill", item.tag, "P1", f"f{item.pk}") for item in cylinders]
    other = [(deed, item.tag, "P1", f"d{item.pk}") for item in cylinders]
    found = race(tmp_path, one, other)
    task, outcome = deed.split()
    for item in cylinders:
        (forbidden,) = places(found[item.tag], task, outcome)
        filled = places(found[item.tag], "fill")
        assert len(filled) <= 1
        assert all(place < forbidden for place in filled), found[item.tag]


def test_one_form_at_two_desks_is_one_filling(cylinders: list[Item], tmp_path: Path) -> None:
    plan = [("fill", item.tag, "P1", f"f{item.pk}") for item in cylinders]
    found = race(tmp_path, plan, plan)
    assert [len(places(found[item.tag], "fill")) for item in cylinders] == [1] * ROUNDS


def test_no_filling_comes_after_a_failed_air_test(
    cylinders: list[Item], point: Point, tmp_path: Path
) -> None:
    for number in range(ROUNDS):
        make_compressor(point.site, f"K{number:03}", point.technician)
    one = [("fill", c.tag, f"K{n:03}", f"f{c.pk}") for n, c in enumerate(cylinders)]
    other = [
        ("air-quality-test fail", c.tag, f"K{n:03}", f"d{c.pk}") for n, c in enumerate(cylinders)
    ]
    found = race(tmp_path, one, other)
    for number, cylinder in enumerate(cylinders):
        (failed,) = places(found[f"K{number:03}"], "air-quality-test", "fail")
        assert all(place < failed for place in places(found[cylinder.tag], "fill"))
