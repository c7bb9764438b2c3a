"""Keep of each cylinder in a consignment when it came back, and keep a register of papers."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import OuterRef, Subquery


def back_with_the_rest(apps, schema_editor):
    """Give the cylinders of consignments that are back the day of their consignment."""
    using = schema_editor.connection.alias
    consignments = apps.get_model("servicing", "Consignment").objects.using(using)
    day = consignments.filter(pk=OuterRef("consignment_id")).values("back_on")[:1]
    closed = apps.get_model("servicing", "Consigned").objects.using(using).filter(open=False)
    closed.filter(back_on=None).update(back_on=Subquery(day))


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0005_a_site_says_what_its_bench_reads_in"),
        ("servicing", "0008_let_people_sign_what_they_enter"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="consigned",
            name="back_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="consigned",
            name="back_on",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="consignment",
            name="sent_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.CreateModel(
            name="Paper",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.CharField(max_length=40, unique=True)),
                ("kind", models.CharField(max_length=20)),
                ("on", models.DateField()),
                ("known_by", models.DateTimeField(null=True)),
                ("made_at", models.DateTimeField()),
                ("made_by", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64)),
                ("replaces", models.JSONField(default=list)),
                (
                    "consignment",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="papers",
                        to="servicing.consignment",
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="papers",
                        to="registry.item",
                    ),
                ),
                (
                    "made_by_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("-made_at", "-pk"),
            },
        ),
        migrations.CreateModel(
            name="Carried",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("position", models.PositiveIntegerField()),
                ("head", models.CharField(max_length=64)),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="registry.item",
                    ),
                ),
                (
                    "paper",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="carried",
                        to="servicing.paper",
                    ),
                ),
            ],
            options={
                "verbose_name": "line of a paper",
            },
        ),
        migrations.AddConstraint(
            model_name="paper",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("consignment__isnull", False), ("item", None)),
                    models.Q(("consignment", None), ("item__isnull", False)),
                    _connector="OR",
                ),
                name="paper_is_about_one_thing",
            ),
        ),
        migrations.AddConstraint(
            model_name="paper",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ("service-record", "set", "consignment-list"))),
                name="paper_kind",
            ),
        ),
        migrations.AddConstraint(
            model_name="carried",
            constraint=models.UniqueConstraint(
                fields=("paper", "item"), name="carried_once_by_a_paper"
            ),
        ),
        migrations.RunPython(back_with_the_rest, migrations.RunPython.noop),
    ]
