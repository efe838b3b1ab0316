"""Another maker is asked to buy for a round, where the one before does not."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0091_round_buyers"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.CreateModel(
                name="RoundBuyer",
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
                    ("number", models.PositiveSmallIntegerField()),
                    ("asked_at", models.DateTimeField()),
                    (
                        "buyer",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to="ledger.maker",
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
                        "person",
                        models.ForeignKey(
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to=settings.AUTH_USER_MODEL,
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
                            fields=("coop", "round", "number"), name="round_buyer_asked_once"
                        ),
                        models.CheckConstraint(
                            condition=models.Q(("number__gt", 0)),
                            name="round_buyer_after_the_first",
                        ),
                    ],
                },
            ),
            migrations.AddField(
                model_name="roundbuyeranswer",
                name="asked",
                field=models.PositiveSmallIntegerField(db_default=0, default=0),
            ),
            migrations.RemoveConstraint(
                model_name="roundorder", name="round_order_of_a_supplier_once"
            ),
            migrations.AddConstraint(
                model_name="roundorder",
                constraint=models.UniqueConstraint(
                    fields=("coop", "round", "maker", "supplier"),
                    name="round_order_of_a_supplier_once",
                ),
            ),
        ),
        _sql.run("round_buyers_asked"),
        _sql.renew("round_buyer_checks"),
        _sql.renew("round_closing"),
        _sql.renew("round_reading"),
    ]
