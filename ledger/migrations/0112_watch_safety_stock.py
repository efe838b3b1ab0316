"""A watch keeps the safety stock that its point is made with."""

from django.db import migrations, models

from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [("ledger", "0099_round_late_bills")]

    operations = [
        Together(
            migrations.AddField(
                model_name="watch",
                name="safety_stock",
                field=models.DecimalField(decimal_places=6, max_digits=18, null=True),
            ),
            migrations.AddConstraint(
                model_name="watch",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("safety_stock", None),
                        models.Q(
                            ("safety_stock__gte", 0),
                            ("safety_stock__lte", models.F("reorder_point")),
                        ),
                        _connector="OR",
                    ),
                    name="watch_safety_within_point",
                ),
            ),
        ),
    ]
