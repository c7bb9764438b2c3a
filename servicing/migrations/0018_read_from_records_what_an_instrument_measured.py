"""Keep of every record that is there already by which instruments it was measured.

A record names each as it was marked then, and by the hash of its calibration. Nothing is
written where something is kept already, so running it again does no harm.
"""

from django.db import migrations

BATCH = 2000


def fill(apps, schema_editor):
    alias = schema_editor.connection.alias
    kept = apps.get_model("servicing", "Measured").objects.using(alias)
    records = apps.get_model("servicing", "Record").objects.using(alias)
    if kept.exists():
        return
    measured = records.exclude(instruments=[]).order_by("number")
    last = 0
    while batch := list(
        measured.filter(number__gt=last).values_list("number", "instruments")[:BATCH]
    ):
        rows = {
            (mark, number)
            for number, stood in batch
            for each in stood
            for mark in (each["marked_as"], each["calibration_hash"])
            if mark
        }
        kept.bulk_create([kept.model(mark=mark, record_id=number) for mark, number in rows])
        last = batch[-1][0]


class Migration(migrations.Migration):
    dependencies = [("servicing", "0017_find_what_an_instrument_measured")]

    # Backwards nothing is lost: the records say it themselves.
    operations = [migrations.RunPython(fill, migrations.RunPython.noop, elidable=True)]
