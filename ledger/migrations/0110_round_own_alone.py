"""What a maker would pay alone by offers of its own stands beside its round, behind its wall."""

from decimal import Decimal

import django.db.models.deletion
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0109_round_figures_apart"),
    ]

    operations = [
        migrations.CreateModel(
            name="RoundOwnAlone",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("cost", models.DecimalField(decimal_places=6, max_digits=18)),
                ("orders", models.JSONField()),
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
                    "round",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.orderround",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("coop", "round", "maker"), name="round_own_alone_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("cost__gte", 0), ("cost__lt", Decimal("1000000000000"))
                        ),
                        name="round_own_alone_costs",
                    ),
                ],
            },
        ),
        _sql.run("round_own_alone"),
    ]
