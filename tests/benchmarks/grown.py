"""A register of any size for the ladder: the demo, and copies of its fleet put in as rows.

The copies have items, versions, fittings, the first ten records of each, stored due dates,
trail entries and papers. Their chains are not hashed, so nothing that verifies can be asked of
them; every page can. Their stored dates are those of the demo's items with all their records, so
that a list computed afresh has other rows, more of them late. One gauge of the demo failed its
calibration and some of the demo's records were measured with it; the copies were measured with
gauges of their own.
"""

from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.trail import guards
from servicing.due.actions.services import Service, log_service

RECORDS = 10
"""So many records of an item are copied."""
FAT = 2000
"""One item has so many records, however large the register."""
STRIDE = 1_000_000
"""Keys of the n-th copy are those of the demo and n times this, so that each finds its own."""
EMPTY = {"sqlite": "json('[]')", "postgresql": "'[]'::jsonb"}


def demo_and_copies(items: int) -> None:
    """Make the demo in an empty database and let it grow to so many items.

    Whatever is kept as sums is made true at the end, as `recompute` does it.
    """
    call_command("demo", "--no-serve", verbosity=0)
    _a_gauge_fails()
    guards.remove(connection)
    with connection.cursor() as cursor:
        _measured_with_it(cursor)
        _copy(cursor, items)
        _fatten(cursor)
        _count_on(cursor)
        if connection.vendor == "postgresql":  # it does so by itself, but not at once
            cursor.execute("ANALYZE")
    guards.install(connection)


def _a_gauge_fails() -> None:
    gauge = _gauge()
    on = today_at(gauge.site) - timedelta(days=2)
    service = Service("calibration", on, "fail", "Tekla Merrow")
    somebody = User.objects.order_by("pk")[0]
    log_service(item=gauge, service=service, user=somebody, entry_key=uuid4().hex)


def _gauge() -> Item:
    gauges = Item.objects.filter(type__kind="instrument").select_related("type", "site")
    return gauges.order_by("pk")[0]


def _mark(item: Item) -> str:
    return f"{item.tag} · {item.maker} · {item.serial}"


def _stood(mark: str) -> str:
    """Return an SQL expression of what a record says of an instrument; mark: SQL too."""
    start, end = '[{"marked_as": "', '", "calibrated_on": null, "calibration_due_on": null, '
    text = f"""'{start}' || {mark} || '{end}"calibration_hash": ""}}]'"""
    return f"({text})::jsonb" if connection.vendor == "postgresql" else f"({text})"


def _measured_with_it(cursor: Any) -> None:
    mark = "'" + _mark(_gauge()).replace("'", "''") + "'"
    cursor.execute(
        f"UPDATE servicing_record SET instruments = {_stood(mark)} WHERE id IN "
        "(SELECT id FROM servicing_record ORDER BY done_on DESC, id LIMIT 20)"
    )


def _copy(cursor: Any, items: int) -> None:
    """Copy the fleet as often as it fits, and the last time as much of it as is wanted."""
    cursor.execute("SELECT id FROM registry_item ORDER BY id")
    ids = [pk for (pk,) in cursor.fetchall()]
    whole, rest = divmod(max(items - len(ids), 0), len(ids))
    copies, cut = whole + bool(rest), ids[rest - 1] if rest else ids[-1]
    if not copies:
        return
    for table, item_columns, changed in _tables():
        model = next(m for m in apps.get_models() if m._meta.db_table == table)
        columns = [str(f.column) for f in model._meta.concrete_fields]
        written = [changed.get(name, _moved(name, item_columns)) for name in columns]
        columns = [f'"{name}"' for name in columns]
        within = " AND ".join(f"{name} <= {cut}" for name in item_columns)
        cursor.execute(
            f"INSERT INTO {table} ({', '.join(columns)}) "
            f"WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < {copies}) "
            f"SELECT {', '.join(written)} FROM {table}, n "
            f"WHERE {table}.id < {STRIDE} AND (k < {copies} OR ({within}))"
            f"{_FEWER.get(table, '')}"
        )
    _trail_and_papers(cursor)


def _moved(name: str, item_columns: tuple[str, ...]) -> str:
    return f'"{name}" + k * {STRIDE}' if name in ("id", *item_columns) else f'"{name}"'


_FEWER = {"servicing_record": f" AND position <= {RECORDS} AND corrects IS NULL"}


def _tables() -> list[tuple[str, tuple[str, ...], dict[str, str]]]:
    postgres = connection.vendor == "postgresql"

    def own(name: str) -> str:
        padded = "lpad(k::text, 8, '0')" if postgres else "substr('00000000' || k, -8)"
        return f"substr({name}, 1, 56) || {padded}"

    k = "k::text" if postgres else "k"
    tag = f"tag || '-' || {k}"
    text = "known::text" if postgres else "known"
    known = f"""replace({text}, '"tag": "', '"tag": "' || {k} || '-')"""
    mark = f"'GAUGE-' || {k} || ' · Ondrevik · ' || {k}"
    return [
        (
            "registry_item",
            ("id",),
            {
                "id": f"id + k * {STRIDE}",
                "tag": tag,
                "serial": f"serial || '-' || {k}",
                "tag_short": f"tag_short || {k}",
                "tag_whole": f"tag_whole || {k}",
                "serial_short": f"serial_short || {k}",
            },
        ),
        (
            "registry_itemversion",
            ("item_id",),
            {"known": f"({known})::jsonb" if postgres else known},
        ),
        (
            "registry_fitting",
            ("set_id", "part_id"),
            {"entry_key": f"{own('entry_key')}", "removal_key": own("removal_key")},
        ),
        (
            "servicing_record",
            ("item_id",),
            {
                "number": f"number + k * {STRIDE}",
                "marked_as": f"marked_as || '-' || {k}",
                "hash": own("hash"),
                "previous_hash": own("previous_hash"),
                "entry_key": own("entry_key"),
                "outcome": "CASE WHEN task = 'calibration' THEN 'pass' ELSE outcome END",
                "instruments": "CASE WHEN position IN (3, 6, 9) THEN "
                f"{_stood(mark)} ELSE {EMPTY[connection.vendor]} END",
            },
        ),
        ("servicing_duespan", ("item_id",), {}),
        ("servicing_storedobligation", ("item_id",), {}),
    ]


def _trail_and_papers(cursor: Any) -> None:
    """Add a trail entry for each item and, for each tenth, a paper."""
    text = "::text" if connection.vendor == "postgresql" else ""
    moment = "(SELECT max(at) FROM registry_trailentry)"
    cursor.execute(
        'INSERT INTO registry_trailentry (number, at, "by", what, subject, before, after, why, '
        f"previous_hash, hash) SELECT id + 100000000, {moment}, "
        f"'command line', 'item', tag, '', '{{}}', '', '', 'copied ' || id{text} "
        f"FROM registry_item WHERE id > {STRIDE}"
    )
    cursor.execute(
        "INSERT INTO servicing_paper (number, kind, item_id, made_at, made_by, sha256, "
        f"replaces, \"on\") SELECT 'REC-' || id{text}, 'record', id, {moment}, 'command line', '', "
        f"{EMPTY[connection.vendor]}, (SELECT max(done_on) FROM servicing_record) "
        f"FROM registry_item WHERE id > {STRIDE} AND id % 10 = 0"
    )
    cursor.execute(
        "INSERT INTO servicing_carried (paper_id, item_id, position, head) "
        "SELECT id, item_id, 1, '' FROM servicing_paper WHERE item_id IS NOT NULL"
    )


def _fatten(cursor: Any) -> None:
    """Give the demo's second item so many records, as a cylinder has that is filled daily."""
    cursor.execute("SELECT id FROM registry_item ORDER BY id LIMIT 1 OFFSET 1")
    (pk,) = cursor.fetchone()
    cursor.execute("SELECT max(position) FROM servicing_record WHERE item_id = %s", [pk])
    (last,) = cursor.fetchone()
    fields = apps.get_model("servicing", "Record")._meta.concrete_fields
    columns = [f'"{field.column}"' for field in fields]
    text = "::text" if connection.vendor == "postgresql" else ""
    changed = {
        "id": f"id + n.k + {500 * STRIDE}",
        "number": f"number + n.k + {500 * STRIDE}",
        "position": "position + n.k",
        "hash": f"'fat ' || n.k{text}",
        "previous_hash": f"'fat ' || (n.k - 1){text}",
        "entry_key": f"'fat ' || n.k{text}",
    }
    written = ", ".join(changed.get(name.strip('"'), name) for name in columns)
    cursor.execute(
        f"INSERT INTO servicing_record ({', '.join(columns)}) "
        f"WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < {FAT - last}) "
        f"SELECT {written} FROM servicing_record, n WHERE item_id = %s AND position = %s",
        [pk, last],
    )


def _count_on(cursor: Any) -> None:
    """Have PostgreSQL give the next row of each table a key above those it holds."""
    if connection.vendor != "postgresql":
        return
    for model in apps.get_models():
        if model._meta.pk.name == "id":
            table = model._meta.db_table
            cursor.execute(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), "
                f"GREATEST((SELECT max(id) FROM {table}), 1))"
            )
