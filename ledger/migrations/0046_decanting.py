from decimal import Decimal

import django.db.models.deletion
import django.db.models.expressions
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0037_round_walls"),
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
                    ("deposit", "Deposit"),
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
                    ("decant", "Decant"),
                    ("deposit", "Deposit"),
                    ("deposit_return", "Deposit Return"),
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
                    ("deposit", "Deposit"),
                ],
                max_length=16,
            ),
        ),
        migrations.CreateModel(
            name="Decanting",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("happened_at", models.DateTimeField()),
                ("drawn", models.DecimalField(decimal_places=6, max_digits=18)),
                ("heel", models.DecimalField(decimal_places=6, max_digits=18)),
                ("cost", models.DecimalField(decimal_places=6, max_digits=18)),
                ("note", models.CharField(blank=True, max_length=400)),
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
                    "entry",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.entry",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.lot",
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DecantingDraw",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("position", models.PositiveSmallIntegerField()),
                ("entered", models.CharField(max_length=160)),
                ("gross", models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ("tare", models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ("quantity", models.DecimalField(decimal_places=6, max_digits=18)),
                ("share", models.DecimalField(decimal_places=6, max_digits=18)),
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
                    "decanting",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="draws",
                        to="ledger.decanting",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.lot",
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
                    "transfer",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.transfer",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Deposit",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("amount", models.DecimalField(decimal_places=6, max_digits=18)),
                ("note", models.CharField(blank=True, max_length=400)),
                ("happened_at", models.DateTimeField()),
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
                    "entry",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.entry",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.lot",
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.supplier",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DepositReturn",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                ("happened_at", models.DateTimeField()),
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
                    "deposit",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="returns",
                        to="ledger.deposit",
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.entry",
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="decanting",
            index=models.Index(fields=["coop", "lot"], name="decanting_by_lot"),
        ),
        migrations.AddConstraint(
            model_name="decanting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("drawn__gt", 0),
                    ("drawn__lt", Decimal("1000000000000")),
                    ("heel__gte", 0),
                    ("heel__lt", Decimal("1000000000000")),
                ),
                name="decanting_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="decantingdraw",
            constraint=models.UniqueConstraint(
                fields=("coop", "decanting", "position"), name="decanting_draw_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="decantingdraw",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("quantity__gt", 0),
                    ("quantity__lt", Decimal("1000000000000")),
                    ("share__gte", 0),
                    ("share__lt", Decimal("1000000000000")),
                ),
                name="decanting_draw_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="decantingdraw",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("gross__isnull", True), ("tare__isnull", True)),
                    models.Q(
                        (
                            "gross",
                            django.db.models.expressions.CombinedExpression(
                                models.F("quantity"), "+", models.F("tare")
                            ),
                        ),
                        ("tare__gte", 0),
                    ),
                    _connector="OR",
                ),
                name="decanting_draw_is_gross_less_tare",
            ),
        ),
        migrations.AddConstraint(
            model_name="deposit",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount__gt", 0), ("amount__lt", Decimal("1000000000000"))),
                name="deposit_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="depositreturn",
            constraint=models.UniqueConstraint(
                fields=("coop", "deposit"), name="deposit_returned_once"
            ),
        ),
        _sql.run("decanting"),
        _sql.renew("reverse_entry"),
    ]
