from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0060_source_tests"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="transfer",
            name="percent",
            field=models.DecimalField(decimal_places=4, max_digits=9, null=True),
        ),
        migrations.CreateModel(
            name="Share",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("entered", models.CharField(max_length=64)),
                ("quantity", models.DecimalField(decimal_places=6, max_digits=18)),
                (
                    "terms",
                    models.CharField(
                        choices=[("cost", "Cost"), ("cost_plus", "Cost Plus"), ("price", "Price")],
                        max_length=9,
                    ),
                ),
                ("percent", models.DecimalField(decimal_places=4, max_digits=9, null=True)),
                (
                    "price",
                    models.DecimalField(
                        decimal_places=6,
                        help_text="Of a kilogram, or of a piece.",
                        max_digits=18,
                        null=True,
                    ),
                ),
                (
                    "accepts_itself",
                    models.BooleanField(help_text="A claim is accepted as it comes."),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "happened_at",
                    models.DateTimeField(help_text="The goods may move from this moment on."),
                ),
                ("closes_at", models.DateTimeField(null=True)),
                ("opened_at", models.DateTimeField(auto_now_add=True)),
                ("closed_at", models.DateTimeField(null=True)),
                ("closed_why", models.CharField(blank=True, max_length=400)),
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
                    "giver",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
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
            name="Claim",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("entered", models.CharField(max_length=64)),
                ("quantity", models.DecimalField(decimal_places=6, max_digits=18)),
                (
                    "keeps_status",
                    models.BooleanField(help_text="What the giver released arrives released."),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                ("expires_at", models.DateTimeField(null=True)),
                ("claimed_at", models.DateTimeField(auto_now_add=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "Open"),
                            ("accepted", "Accepted"),
                            ("declined", "Declined"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        default="open",
                        max_length=9,
                    ),
                ),
                ("answered_at", models.DateTimeField(null=True)),
                ("reason", models.CharField(blank=True, max_length=400)),
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
                (
                    "share",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.share",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Movement",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("goods", "Goods"),
                            ("payment", "Payment"),
                            ("clearing", "Clearing"),
                        ],
                        max_length=8,
                    ),
                ),
                ("amount", models.DecimalField(decimal_places=6, max_digits=18)),
                ("happened_at", models.DateTimeField()),
                ("happened_on", models.DateField()),
                ("recorded_at", models.DateTimeField()),
                ("note", models.CharField(blank=True, max_length=400)),
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
                    "reverses",
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
                    "to_entry",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.entry",
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
            options={
                "indexes": [
                    models.Index(fields=["coop", "maker", "to_maker"], name="movement_by_maker"),
                    models.Index(fields=["coop", "to_maker", "maker"], name="movement_by_other"),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("coop", "reverses"), name="movement_reversed_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("amount__gt", 0), ("amount__lt", Decimal("1000000000000"))
                        ),
                        name="movement_of_something",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("maker", models.F("to_maker")), _negated=True),
                        name="movement_between_two",
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="share",
            index=models.Index(fields=["coop", "lot"], name="share_by_lot"),
        ),
        migrations.AddConstraint(
            model_name="share",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity__gt", 0), ("quantity__lt", Decimal("1000000000000"))),
                name="share_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="share",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("percent__isnull", True), ("price__isnull", True), ("terms", "cost")),
                    models.Q(
                        ("percent__gte", 0),
                        ("price__isnull", True),
                        ("terms", "cost_plus"),
                        ("percent__lte", 1000),
                    ),
                    models.Q(
                        ("percent__isnull", True),
                        ("price__gte", 0),
                        ("price__lt", Decimal("1000000000000")),
                        ("terms", "price"),
                    ),
                    _connector="OR",
                ),
                name="share_has_one_price",
            ),
        ),
        migrations.AddIndex(
            model_name="claim",
            index=models.Index(fields=["coop", "share"], name="claim_by_share"),
        ),
        migrations.AddIndex(
            model_name="claim",
            index=models.Index(fields=["coop", "to_maker"], name="claim_by_giver"),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity__gt", 0), ("quantity__lt", Decimal("1000000000000"))),
                name="claim_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(("maker", models.F("to_maker")), _negated=True),
                name="claim_of_another",
            ),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "accepted"), ("transfer__isnull", False)),
                    models.Q(
                        models.Q(("state", "accepted"), _negated=True), ("transfer__isnull", True)
                    ),
                    _connector="OR",
                ),
                name="claim_accepted_moves",
            ),
        ),
        _sql.run("between_makers"),
        _sql.run("sharing"),
    ]
