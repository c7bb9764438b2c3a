"""What is stamped on an item stands beside its stored date; where nothing is, empty is true."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("servicing", "0015_let_the_papers_say_which_there_are"),
    ]

    operations = [
        migrations.AddField(
            model_name="storedobligation",
            name="stamp_differs",
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name="storedobligation",
            name="stamped",
            field=models.CharField(blank=True, max_length=10),
        ),
    ]
