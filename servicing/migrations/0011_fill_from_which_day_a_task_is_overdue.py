"""Give stored obligations the first day on which they are overdue, and the event they wait on.

What an event or a failure asks for is overdue from that day on (design.md 4.7), everything
else from the day after its due date. The event is the first that the rule names since it was
last passed, of the day that the obligation counts from. The rule stands here as it was when
this was written; it takes only what is empty, so running it again does no harm.
"""

import json
from datetime import timedelta

from django.db import migrations
from django.db.models import DateField, ExpressionWrapper, F

BATCH = 1000
AT_ONCE = ("event", "failure")


def fill(apps, schema_editor):
    obligations = apps.get_model("servicing", "StoredObligation").objects.using(
        schema_editor.connection.alias
    )
    dated = obligations.filter(due_on__isnull=False, overdue_on=None)
    dated.filter(counted_from__in=AT_ONCE).update(overdue_on=F("due_on"))
    next_day = ExpressionWrapper(F("due_on") + timedelta(days=1), output_field=DateField())
    dated.exclude(counted_from__in=AT_ONCE).update(overdue_on=next_day)

    records = apps.get_model("servicing", "Record").objects.using(schema_editor.connection.alias)
    waiting = obligations.filter(counted_from="event", event="").select_related("rule")
    last = 0
    while batch := list(waiting.filter(pk__gt=last).order_by("pk")[:BATCH]):
        last = batch[-1].pk
        by_day = _by_day(records, batch)
        for row in batch:
            row.event = _event(row.rule, by_day.get((row.item_id, row.basis_on), ()))
        obligations.bulk_update(batch, ["event"])


def _by_day(records, batch):
    """Return (task, outcome) of the records that count, by item and day, in the order entered."""
    items, days = {row.item_id for row in batch}, {row.basis_on for row in batch}
    corrected = set(
        records.filter(item_id__in=items, corrects__isnull=False).values_list("corrects", flat=True)
    )
    found = {}
    rows = records.filter(item_id__in=items, done_on__in=days).exclude(outcome="void")
    for row in rows.order_by("item_id", "position"):
        if row.hash not in corrected:
            found.setdefault((row.item_id, row.done_on), []).append((row.task, row.outcome))
    return found


def _event(rule, day):
    row = json.loads(rule.content)
    wanted = row.get("after") or row.get("counts") or []
    events = {wanted} if isinstance(wanted, str) else {*wanted}
    passes = {rule.task, *row.get("satisfied_by", ())}
    found = ""
    for task, outcome in day:
        if task in passes and outcome == "pass":
            found = ""
        elif task in events and not found:
            found = task
    return found or min(events, default="")


class Migration(migrations.Migration):
    dependencies = [("servicing", "0010_say_from_which_day_a_task_is_overdue")]

    # Backwards nothing is lost: 0010 lets the columns be empty.
    operations = [migrations.RunPython(fill, migrations.RunPython.noop, elidable=True)]
