"""Keep code and name of a site in its versions.

What a site was called before this day was not kept: older versions get what it is called
on this day, which is what old answers showed until now. Nothing else of them changes. The
guards would refuse it; they are taken away and put back after the migration, in one
transaction with it on PostgreSQL.
"""

from django.db import migrations, models

GUARDS = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'registry_siteversion'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = 'registry_siteversion'::regclass AND NOT tgisinternal",
}


def take_guards_away(apps, schema_editor):
    postgresql = schema_editor.connection.vendor == "postgresql"
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(GUARDS[schema_editor.connection.vendor])
        for (name,) in cursor.fetchall():
            cursor.execute(f"DROP TRIGGER {name}" + " ON registry_siteversion" * postgresql)


def call_them_as_now(apps, schema_editor):
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(
            "UPDATE registry_siteversion SET code = site.code, name = site.name"
            " FROM registry_site AS site WHERE site.id = registry_siteversion.site_id"
        )


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0005_a_site_says_what_its_bench_reads_in"),
    ]

    operations = [
        migrations.RunPython(take_guards_away, migrations.RunPython.noop),
        migrations.AddField(
            model_name="siteversion",
            name="code",
            field=models.CharField(default="", max_length=40),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="siteversion",
            name="name",
            field=models.CharField(default="", max_length=120),
            preserve_default=False,
        ),
        migrations.RunPython(call_them_as_now, migrations.RunPython.noop),
    ]
