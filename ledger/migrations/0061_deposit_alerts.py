from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0032_price_jumps")]
    operations = [
        migrations.AddField(
            model_name="alertsetting",
            name="deposit_days",
            field=models.PositiveSmallIntegerField(default=60),
        ),
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
                ],
                max_length=20,
            ),
        ),
    ]
