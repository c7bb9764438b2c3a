from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0013_know_what_else_hangs_on_the_wall")]

    operations = [
        migrations.AddIndex(
            model_name="trailentry",
            index=models.Index(fields=["by", "what"], name="trail_by"),
        ),
    ]
