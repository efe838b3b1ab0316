"""Whoever is sent a notice of a recall is told at once."""

from django.db import migrations, models

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0080_sweep"),
    ]

    operations = [
        migrations.AlterField(
            model_name="alert",
            name="kind",
            field=models.CharField(
                choices=[
                    ("low_stock", "Low Stock"),
                    ("batch_short", "Batch Short"),
                    ("expiring", "Expiring"),
                    ("retest_due", "Retest Due"),
                    ("quarantine_ageing", "Quarantine Ageing"),
                    ("price_jump", "Price Jump"),
                    ("deposit_unclaimed", "Deposit Unclaimed"),
                    ("called_back", "Called Back"),
                ],
                max_length=20,
            ),
        ),
        _sql.run("notice_alerts"),
    ]
