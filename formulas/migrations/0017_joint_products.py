"""A batch can make several products at once, each with its part of the joint cost."""

from decimal import Decimal
from typing import Any

import django.db.models.deletion
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together

FINITE = Decimal("1000000000000")


def _amount(**options: Any) -> "models.DecimalField[Any, Any]":
    return models.DecimalField(decimal_places=6, max_digits=18, **options)


def _link(to: str, related_name: str = "+") -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        db_constraint=False,
        db_index=False,
        on_delete=django.db.models.deletion.PROTECT,
        related_name=related_name,
        to=to,
    )


class Migration(migrations.Migration):
    dependencies = [("formulas", "0007_fills_are_judged"), ("ledger", "0116_material_maxima")]

    operations = [
        Together(
            migrations.AddField(
                "making", "joint_base", models.CharField(blank=True, max_length=24)
            ),
            migrations.AddField("making", "joint_grams", _amount(default=0)),
            migrations.AddField("making", "joint_value", _amount(default=0)),
            migrations.AddConstraint(
                model_name="making",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        models.Q(("joint_base", ""), ("joint_grams", 0), ("joint_value", 0)),
                        models.Q(
                            ("joint_base__in", ["mass", "sales_value", "net_realisable_value"]),
                            ("joint_grams__gt", 0),
                            ("joint_grams__lt", FINITE),
                            ("joint_value__gte", 0),
                            (
                                "joint_value__lte",
                                models.F("materials")
                                + models.F("labour")
                                + models.F("overhead")
                                - models.F("by_product_value"),
                            ),
                        ),
                        _connector="OR",
                    ),
                    name="making_joint_within_cost",
                ),
            ),
            migrations.CreateModel(
                name="JointProduct",
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
                    ("position", models.PositiveSmallIntegerField()),
                    ("entered", models.CharField(max_length=64)),
                    ("grams", _amount()),
                    ("sales_value", _amount(null=True)),
                    ("further_cost", _amount(default=0)),
                    ("value", _amount()),
                    ("coop", _link("ledger.coop")),
                    ("lot", _link("ledger.lot")),
                    ("maker", _link("ledger.maker")),
                    ("making", _link("formulas.making", "joint_products")),
                ],
                options={
                    "indexes": [models.Index(fields=["coop", "lot"], name="joint_product_by_lot")],
                    "constraints": [
                        models.UniqueConstraint(
                            fields=("coop", "making", "position"), name="joint_product_once"
                        ),
                        models.CheckConstraint(
                            condition=models.Q(
                                ("further_cost__gte", 0),
                                ("further_cost__lt", FINITE),
                                ("grams__gt", 0),
                                ("grams__lt", FINITE),
                                ("value__gte", 0),
                                ("value__lt", FINITE),
                                models.Q(
                                    ("sales_value__isnull", True),
                                    models.Q(("sales_value__gt", 0), ("sales_value__lt", FINITE)),
                                    _connector="OR",
                                ),
                            ),
                            name="joint_product_above_zero",
                        ),
                    ],
                },
            ),
        ),
        _sql.run("joint_products", app="formulas"),
    ]
