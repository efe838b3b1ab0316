"""A lot that was poured before an older one is found among the deviations."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("formulas", "0005_afterwards")]

    operations = [
        migrations.AddIndex(
            model_name="weighing",
            index=models.Index(
                fields=["coop", "maker", "entry"],
                condition=models.Q(("overrode__contains", ["newer_lot"])),
                name="weighing_newer_lot",
            ),
        ),
    ]
