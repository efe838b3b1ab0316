from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0044_shares"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
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
                ],
                max_length=16,
            ),
        ),
        migrations.AlterField(
            model_name="entry",
            name="kind",
            field=models.CharField(
                choices=[
                    ("opening", "Opening"),
                    ("receipt", "Receipt"),
                    ("draw", "Draw"),
                    ("weigh_back", "Weigh Back"),
                    ("make", "Make"),
                    ("fill", "Fill"),
                    ("cancel", "Cancel"),
                    ("sale", "Sale"),
                    ("customer_return", "Customer Return"),
                    ("supplier_return", "Supplier Return"),
                    ("issue", "Issue"),
                    ("reversal", "Reversal"),
                    ("cost_formula", "Cost Formula"),
                    ("count", "Count"),
                    ("scrap", "Scrap"),
                    ("empty", "Empty"),
                    ("late_charge", "Late Charge"),
                    ("price_correction", "Price Correction"),
                    ("credit_note", "Credit Note"),
                    ("consign", "Consign"),
                    ("unconsign", "Unconsign"),
                    ("transfer_out", "Transfer Out"),
                    ("transfer_in", "Transfer In"),
                    ("payment", "Payment"),
                    ("clearing", "Clearing"),
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
                ],
                max_length=16,
            ),
        ),
        migrations.CreateModel(
            name="Clearing",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("happened_at", models.DateTimeField()),
                ("note", models.CharField(blank=True, max_length=400)),
                ("at_least", models.PositiveIntegerField()),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "coop",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.coop",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ClearingPayment",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("amount", models.DecimalField(decimal_places=6, max_digits=18)),
                (
                    "clearing",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.clearing",
                    ),
                ),
                (
                    "coop",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.coop",
                    ),
                ),
                (
                    "maker",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
                    ),
                ),
                (
                    "to_maker",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("coop", "clearing", "maker", "to_maker"), name="clearing_pays_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("amount__gt", 0), ("amount__lt", Decimal("1000000000000"))
                        ),
                        name="clearing_of_something",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Dispute",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("stands", models.BooleanField()),
                ("reason", models.CharField(max_length=400)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "coop",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.coop",
                    ),
                ),
                (
                    "maker",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
                    ),
                ),
                (
                    "movement",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.movement",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "to_maker",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["coop", "movement"], name="dispute_by_movement")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="dispute_has_reason"
                    )
                ],
            },
        ),
        _sql.run("settlement"),
        _sql.renew("reverse_entry"),
        _sql.renew("verify"),
    ]
