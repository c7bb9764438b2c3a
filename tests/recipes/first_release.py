"""Make a register as the first release left it: its schema, its versions, its form of a record.

Run by `manage.py shell` in a program that knows more. It writes by the models of that release,
one mask with one passed inspection; nothing here uses the program's own reading or writing.
"""

import hashlib
import json
from datetime import UTC, date, datetime

from django.db import connection
from django.db.migrations.executor import MigrationExecutor

FIRST = [("registry", "0001_initial"), ("servicing", "0001_initial")]
AT = datetime(2024, 5, 1, 9, 30, tzinfo=UTC)
DONE_ON = date(2024, 4, 30)
KNOWN = {
    "tag": "OLD-1",
    "maker": "Pellwright",
    "serial": "9",
    "made_on": "2019-05-05",
    "made_to_month": False,
    "in_service_on": "2019-06-01",
    "connection": "",
    "size": "M",
    "working_pressure_bar": None,
    "specification": "",
    "construction": "",
    "fibre": "",
    "marks": [],
    "water_capacity_l": None,
    "test_pressure_bar": None,
    "tare_kg": None,
    "ree_ml": None,
    "design_life_years": None,
    "kind": "mask",
    "model": "Veil",
}

executor = MigrationExecutor(connection)
executor.migrate(FIRST)
apps = executor.loader.project_state(FIRST).apps
kept = {name: apps.get_model("registry", name).objects for name in ("Site", "SiteVersion")}
site = kept["Site"].create(code="LAMPS", name="Lamp room", timezone="Europe/Vienna")
kept["SiteVersion"].create(site=site, known_from=AT, timezone="Europe/Vienna")
made = apps.get_model("registry", "ItemType").objects.create(
    kind="mask", maker="Pellwright", model="Veil"
)
facts = {name: value for name, value in KNOWN.items() if name not in ("kind", "model")}
item = apps.get_model("registry", "Item").objects.create(**facts, type=made, site=site)
apps.get_model("registry", "ItemVersion").objects.create(
    item=item, known_from=AT, known={**KNOWN, "site": site.pk}
)
said = {
    "position": 1,
    "marked_as": "OLD-1 · Pellwright · 9",
    "task": "periodic-inspection",
    "done_on": DONE_ON.isoformat(),
    "outcome": "pass",
    "performed_by": "Ägidius Ørn",
    "entered_by": "tekla",
    "entered_at": AT.strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
    "note": "",
    "readings": [],
    "part_made_on": None,
    "carried_over_from": "",
    "entry_key": "old",
}
text = json.dumps({**said, "form": 1}, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
start = "0" * 64
apps.get_model("servicing", "Record").objects.create(
    **{**said, "done_on": DONE_ON, "entered_at": AT},
    item=item,
    previous_hash=start,
    hash=hashlib.sha256(f"{start}\n{text}".encode()).hexdigest(),
)
