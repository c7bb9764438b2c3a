import django.db.models.deletion
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

import registry.items.models
from registry.scanning.pure.likeness import readings

AT_ONCE = 5000


def read_all(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Keep how the tags and serials that are there may be misread."""
    Item = apps.get_model("registry", "Item")
    rows = [
        (*readings(tag), readings(serial)[0], pk)
        for pk, tag, serial in Item.objects.values_list("pk", "tag", "serial").iterator()
    ]
    sql = "UPDATE registry_item SET tag_short = %s, tag_whole = %s, serial_short = %s WHERE id = %s"
    with schema_editor.connection.cursor() as cursor:
        for start in range(0, len(rows), AT_ONCE):
            cursor.executemany(sql, rows[start : start + AT_ONCE])


def keep_former_tags(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Find in what was known of items the tags that they carry no more."""
    FormerTag = apps.get_model("registry", "FormerTag")
    versions = apps.get_model("registry", "ItemVersion").objects.order_by(
        "item", "known_from", "pk"
    )
    found, before = [], (None, "")
    for item, moment, tag in versions.values_list("item", "known_from", "known__tag").iterator():
        if before[0] == item and before[1] != tag:
            found.append(FormerTag(item_id=item, tag=before[1], replaced_at=moment))
        before = (item, tag)
    FormerTag.objects.bulk_create(found, batch_size=500)


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0009_find_items_by_their_serial"),
    ]

    operations = [
        *(
            migrations.AddField(
                model_name="item",
                name=name,
                field=registry.items.models.ReadingField(of=of, which=which),
            )
            for name, of, which in (
                ("tag_short", "tag", 0),
                ("tag_whole", "tag", 1),
                ("serial_short", "serial", 0),
            )
        ),
        *(
            migrations.AddIndex(
                model_name="item", index=models.Index(fields=[name], name=f"item_{name}")
            )
            for name in ("tag_short", "tag_whole", "serial_short")
        ),
        migrations.CreateModel(
            name="FormerTag",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("tag", models.CharField(db_index=True, max_length=64)),
                (
                    "tag_short",
                    registry.items.models.ReadingField(of="tag", which=0, db_index=True),
                ),
                (
                    "tag_whole",
                    registry.items.models.ReadingField(of="tag", which=1, db_index=True),
                ),
                ("replaced_at", models.DateTimeField()),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="former_tags",
                        to="registry.item",
                    ),
                ),
            ],
            options={
                "ordering": ("item", "replaced_at", "pk"),
            },
        ),
        migrations.RunPython(read_all, migrations.RunPython.noop),
        migrations.RunPython(keep_former_tags, migrations.RunPython.noop),
    ]
