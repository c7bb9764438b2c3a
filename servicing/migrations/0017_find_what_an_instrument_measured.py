import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("servicing", "0016_keep_what_is_stamped_beside_a_date")]

    operations = [
        migrations.CreateModel(
            name="Measured",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("mark", models.CharField(max_length=220)),
                (
                    "record",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="measured",
                        to="servicing.record",
                        to_field="number",
                    ),
                ),
            ],
            options={
                "verbose_name": "mark of a record",
                "constraints": [
                    models.UniqueConstraint(fields=("mark", "record"), name="measured_once")
                ],
            },
        ),
        migrations.AddIndex(
            model_name="record",
            index=models.Index(fields=["outcome", "task"], name="record_outcome"),
        ),
        migrations.AddIndex(
            model_name="record",
            index=models.Index(
                condition=models.Q(("carried_over_from", "")),
                fields=["entered_at"],
                name="record_entered",
            ),
        ),
        migrations.AddIndex(
            model_name="paper",
            index=models.Index(fields=["-made_at", "-id"], name="paper_newest"),
        ),
        migrations.AddIndex(
            model_name="consigned",
            index=models.Index(
                condition=models.Q(("open", True)), fields=["consignment"], name="consigned_open"
            ),
        ),
        migrations.AddIndex(
            model_name="duespan",
            index=models.Index(fields=["standing", "item"], name="span_standing"),
        ),
    ]
