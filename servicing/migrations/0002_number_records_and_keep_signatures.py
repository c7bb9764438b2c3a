"""Number the records over the whole register, and make room for what form 2 says.

Rows that exist keep their content and their hashes, which cover none of the new columns:
they are of form 1. They are numbered in the order entered, and the trail notes their
hashes once, so that none of them can vanish unseen from now on. The guards would refuse
the numbering; they are taken away and put back after the migration, in one transaction
with it on PostgreSQL. The forms stand here as they were on this day.
"""

import hashlib
import json

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

GUARDS = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'servicing_record'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = 'servicing_record'::regclass AND NOT tgisinternal",
}


def take_guards_away(apps, schema_editor):
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(GUARDS[schema_editor.connection.vendor])
        on_table = " ON servicing_record" if schema_editor.connection.vendor == "postgresql" else ""
        for (name,) in cursor.fetchall():
            cursor.execute(f"DROP TRIGGER {name}{on_table}")


def number_records(apps, schema_editor):
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(
            "UPDATE servicing_record SET number = numbered.n FROM (SELECT id, ROW_NUMBER() OVER"
            " (ORDER BY entered_at, id) AS n FROM servicing_record) AS numbered"
            " WHERE numbered.id = servicing_record.id"
        )
        if schema_editor.connection.vendor == "postgresql":
            # What is checked at the end of a transaction is in the way of altering the table.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED")


def note_numbers(apps, schema_editor):
    alias = schema_editor.connection.alias
    records = apps.get_model("servicing", "Record").objects.using(alias).order_by("number")
    trail = apps.get_model("registry", "TrailEntry").objects.using(alias)
    last = records.last()
    if last is None:
        return
    digest = hashlib.sha256()
    for own in records.values_list("hash", flat=True).iterator(chunk_size=20000):
        digest.update(f"{own}\n".encode())
    before = trail.order_by("number").last()
    change = {
        "after": _text({"from": 1, "to": last.number, "digest": digest.hexdigest()}),
        "before": "",
        "by": "command line",
        "number": before.number + 1 if before else 1,
        "subject": "ledger",
        "what": "records",
        "why": "Numbered: these records are older than the trail.",
    }
    previous = before.hash if before else "0" * 64
    moment = last.entered_at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    text = _text({**change, "at": moment, "form": 1})
    own = hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()
    trail.create(**change, at=last.entered_at, by_user=None, previous_hash=previous, hash=own)


def _text(said):
    return json.dumps(said, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0002_keep_a_trail_of_every_change"),
        ("servicing", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunPython(take_guards_away, migrations.RunPython.noop),
        migrations.CreateModel(
            name="Signature",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("record_hash", models.CharField(max_length=64)),
                ("meaning", models.CharField(max_length=10)),
                ("printed_name", models.CharField(max_length=310)),
                ("username", models.CharField(max_length=150)),
                ("signed_at", models.DateTimeField()),
                ("zone", models.CharField(max_length=60)),
                ("hash", models.CharField(max_length=64, unique=True)),
            ],
            options={
                "ordering": ("record", "signed_at", "pk"),
            },
        ),
        migrations.RemoveConstraint(
            model_name="record",
            name="record_outcome",
        ),
        migrations.RemoveConstraint(
            model_name="record",
            name="record_counts_from_one",
        ),
        migrations.AddField(
            model_name="record",
            name="attempt",
            field=models.PositiveIntegerField(default=1),
        ),
        migrations.AddField(
            model_name="record",
            name="authorised",
            field=models.CharField(blank=True, max_length=400),
        ),
        migrations.AddField(
            model_name="record",
            name="checks",
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name="record",
            name="corrects",
            field=models.CharField(max_length=64, null=True, unique=True),
        ),
        migrations.AddField(
            model_name="record",
            name="form",
            field=models.PositiveSmallIntegerField(default=1),
        ),
        migrations.AlterField(
            model_name="record",
            name="form",
            field=models.PositiveSmallIntegerField(default=2),
        ),
        migrations.AddField(
            model_name="record",
            name="instruments",
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name="record",
            name="number",
            field=models.PositiveBigIntegerField(null=True),
        ),
        migrations.RunPython(number_records, migrations.RunPython.noop),
        migrations.AlterField(
            model_name="record",
            name="number",
            field=models.PositiveBigIntegerField(unique=True),
        ),
        migrations.AddField(
            model_name="record",
            name="parts",
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name="record",
            name="performed_by_user",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="record",
            name="procedure",
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name="record",
            name="reason",
            field=models.TextField(blank=True),
        ),
        migrations.AddField(
            model_name="record",
            name="rule",
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddConstraint(
            model_name="record",
            constraint=models.CheckConstraint(
                condition=models.Q(("outcome__in", ["pass", "fail", "condemned", "void"])),
                name="record_outcome",
            ),
        ),
        migrations.AddConstraint(
            model_name="record",
            constraint=models.CheckConstraint(
                condition=models.Q(("attempt__gte", 1), ("number__gte", 1), ("position__gte", 1)),
                name="record_counts_from_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="record",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("corrects", None),
                        ("reason", ""),
                        models.Q(("outcome", "void"), _negated=True),
                    ),
                    models.Q(("corrects__isnull", False), models.Q(("reason", ""), _negated=True)),
                    _connector="OR",
                ),
                name="record_corrects_for_a_reason",
            ),
        ),
        migrations.AddField(
            model_name="signature",
            name="record",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="signatures",
                to="servicing.record",
            ),
        ),
        migrations.AddField(
            model_name="signature",
            name="user",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            model_name="signature",
            constraint=models.UniqueConstraint(
                fields=("record", "meaning"), name="signature_one_of_each_meaning"
            ),
        ),
        migrations.AddConstraint(
            model_name="signature",
            constraint=models.CheckConstraint(
                condition=models.Q(("meaning__in", ["performed", "checked", "released"])),
                name="signature_meaning",
            ),
        ),
        migrations.RunPython(note_numbers, migrations.RunPython.noop),
    ]
