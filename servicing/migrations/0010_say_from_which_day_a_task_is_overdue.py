from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("servicing", "0009_know_what_is_away_and_which_papers_were_made"),
    ]

    operations = [
        migrations.AddField(
            model_name="storedobligation",
            name="event",
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.AddField(
            model_name="storedobligation",
            name="overdue_on",
            field=models.DateField(null=True),
        ),
    ]
