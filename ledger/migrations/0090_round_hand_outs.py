"""What came of a round is handed out in one act."""

from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0082_sweep_as_it_lies"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.CreateModel(
                name="RoundHandOut",
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
                    ("paid", models.DecimalField(decimal_places=6, max_digits=18)),
                    (
                        "within_alone",
                        models.BooleanField(help_text="Whether nobody pays more than alone."),
                    ),
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
            ),
            migrations.CreateModel(
                name="RoundPortion",
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
                    ("quantity", models.DecimalField(decimal_places=6, max_digits=18)),
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
                        "hand_out",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="portions",
                            to="ledger.roundhandout",
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
                        "material",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to="ledger.material",
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
            migrations.AddConstraint(
                model_name="roundhandout",
                constraint=models.UniqueConstraint(
                    fields=("coop", "round"), name="round_handed_out_once"
                ),
            ),
            migrations.AddConstraint(
                model_name="roundhandout",
                constraint=models.CheckConstraint(
                    condition=models.Q(("paid__gte", 0), ("paid__lt", Decimal("1000000000000"))),
                    name="round_paid_not_negative",
                ),
            ),
            migrations.AddIndex(
                model_name="roundportion",
                index=models.Index(fields=["coop", "hand_out"], name="round_portion_by_hand_out"),
            ),
            migrations.AddConstraint(
                model_name="roundportion",
                constraint=models.UniqueConstraint(
                    fields=("coop", "transfer"), name="round_portion_moved_once"
                ),
            ),
            migrations.AddConstraint(
                model_name="roundportion",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("quantity__gt", 0),
                        ("quantity__lt", Decimal("1000000000000")),
                        ("amount__gte", 0),
                        ("amount__lt", Decimal("1000000000000")),
                    ),
                    name="round_portion_of_something",
                ),
            ),
            migrations.AddConstraint(
                model_name="roundportion",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        models.Q(("maker", models.F("to_maker")), ("transfer__isnull", True)),
                        models.Q(
                            models.Q(("maker", models.F("to_maker")), _negated=True),
                            ("transfer__isnull", False),
                        ),
                        _connector="OR",
                    ),
                    name="round_portion_moves_or_stays",
                ),
            ),
        ),
        _sql.run("round_hand_outs"),
    ]
