import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0039_round_placement_walls"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="transfer",
            name="answers",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="ledger.transfer",
            ),
        ),
        migrations.AddField(
            model_name="transfer",
            name="in_kind",
            field=models.BooleanField(
                db_default=False, default=False, help_text="Owed in goods, and not in money."
            ),
        ),
        migrations.AlterField(
            model_name="account",
            name="kind",
            field=models.CharField(
                choices=[
                    ("store", "Store"),
                    ("batch", "Batch"),
                    ("supplier", "Supplier"),
                    ("source", "Source"),
                    ("opening", "Opening"),
                    ("making", "Making"),
                    ("labour", "Labour"),
                    ("overhead", "Overhead"),
                    ("sales", "Sales"),
                    ("issue", "Issue"),
                    ("loss", "Loss"),
                    ("cost_difference", "Cost Difference"),
                    ("consignment", "Consignment"),
                    ("settlement", "Settlement"),
                    ("transfer", "Transfer"),
                    ("money", "Money"),
                    ("loan", "Loan"),
                    ("deposit", "Deposit"),
                ],
                max_length=16,
            ),
        ),
        migrations.AlterField(
            model_name="holding",
            name="kind",
            field=models.CharField(
                choices=[
                    ("store", "Store"),
                    ("batch", "Batch"),
                    ("supplier", "Supplier"),
                    ("source", "Source"),
                    ("opening", "Opening"),
                    ("making", "Making"),
                    ("labour", "Labour"),
                    ("overhead", "Overhead"),
                    ("sales", "Sales"),
                    ("issue", "Issue"),
                    ("loss", "Loss"),
                    ("cost_difference", "Cost Difference"),
                    ("consignment", "Consignment"),
                    ("settlement", "Settlement"),
                    ("transfer", "Transfer"),
                    ("money", "Money"),
                    ("loan", "Loan"),
                    ("deposit", "Deposit"),
                ],
                max_length=16,
            ),
        ),
        migrations.AddIndex(
            model_name="transfer",
            index=models.Index(
                condition=models.Q(("answers__isnull", False)),
                fields=["coop", "answers"],
                name="transfer_by_answered",
            ),
        ),
        _sql.run("giving_back"),
        _sql.renew("between_makers"),
        _sql.renew("verify"),
    ]
