"""The maker that buys for all in a round is asked."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0090_round_hand_outs"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="RoundBuyerAnswer",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("agrees", models.BooleanField()),
                ("reason", models.CharField(blank=True, max_length=400)),
                ("answered_at", models.DateTimeField()),
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
                "indexes": [models.Index(fields=["coop", "round"], name="buyer_answer_by_round")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("agrees", True),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="round_buyer_says_why_not",
                    )
                ],
            },
        ),
        _sql.renew("round_buyer_checks"),
        _sql.run("round_buyers"),
    ]
