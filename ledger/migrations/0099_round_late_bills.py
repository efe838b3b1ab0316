"""Bills that come after a round was handed out are shared among who got the goods."""

from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0098_round_buyers_asked"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
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
                        ("shared_bill", "Shared Bill"),
                    ],
                    max_length=16,
                ),
            ),
            migrations.AlterField(
                model_name="movement",
                name="kind",
                field=models.CharField(
                    choices=[
                        ("goods", "Goods"),
                        ("payment", "Payment"),
                        ("clearing", "Clearing"),
                        ("bill", "Bill"),
                    ],
                    max_length=8,
                ),
            ),
            migrations.CreateModel(
                name="RoundLateBill",
                fields=[
                    (
                        "id",
                        models.UUIDField(
                            default=ledger.ids.new_id,
                            editable=False,
                            primary_key=True,
                            serialize=False,
                        ),
                    ),
                    ("happened_at", models.DateTimeField()),
                    ("note", models.CharField(blank=True, max_length=400)),
                    ("amount", models.DecimalField(decimal_places=6, max_digits=18)),
                    ("recorded_at", models.DateTimeField()),
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
                        "hand_out",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to="ledger.roundhandout",
                        ),
                    ),
                    (
                        "person",
                        models.ForeignKey(
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to=settings.AUTH_USER_MODEL,
                        ),
                    ),
                ],
            ),
            migrations.CreateModel(
                name="RoundLatePart",
                fields=[
                    (
                        "id",
                        models.UUIDField(
                            default=ledger.ids.new_id,
                            editable=False,
                            primary_key=True,
                            serialize=False,
                        ),
                    ),
                    ("amount", models.DecimalField(decimal_places=6, max_digits=18)),
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
                        "late_bill",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="parts",
                            to="ledger.roundlatebill",
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
                            null=True,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to="ledger.movement",
                        ),
                    ),
                    (
                        "portion",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="late_parts",
                            to="ledger.roundportion",
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
            ),
            migrations.AddIndex(
                model_name="roundlatebill",
                index=models.Index(fields=["coop", "hand_out"], name="late_bill_by_hand_out"),
            ),
            migrations.AddConstraint(
                model_name="roundlatebill",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("amount__gt", Decimal("-1000000000000")),
                        ("amount__lt", Decimal("1000000000000")),
                    ),
                    name="late_bill_is_a_number",
                ),
            ),
            migrations.AddIndex(
                model_name="roundlatepart",
                index=models.Index(fields=["coop", "portion"], name="late_part_by_portion"),
            ),
            migrations.AddConstraint(
                model_name="roundlatepart",
                constraint=models.UniqueConstraint(
                    fields=("coop", "late_bill", "portion"), name="late_part_of_a_portion_once"
                ),
            ),
            migrations.AddConstraint(
                model_name="roundlatepart",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        models.Q(("amount", 0), _negated=True),
                        ("amount__gt", Decimal("-1000000000000")),
                        ("amount__lt", Decimal("1000000000000")),
                    ),
                    name="late_part_of_something",
                ),
            ),
            migrations.AddConstraint(
                model_name="roundlatepart",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        models.Q(("maker", models.F("to_maker")), ("movement__isnull", True)),
                        models.Q(
                            models.Q(("maker", models.F("to_maker")), _negated=True),
                            ("movement__isnull", False),
                        ),
                        _connector="OR",
                    ),
                    name="late_part_moves_or_stays",
                ),
            ),
        ),
        _sql.renew("round_reading"),
        _sql.renew("revaluing"),
        _sql.run("round_late_bills"),
    ]
