"""Which papers there are is said once, in reports/documents/actions.py: a new one needs no schema."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("servicing", "0014_let_a_table_take_rows_of_another_along")]

    operations = [migrations.RemoveConstraint(model_name="paper", name="paper_kind")]
