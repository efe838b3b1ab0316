"""Long lists that are sent, kept while a worker needs them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("api", "0003_token_notes"),
        ("ledger", "0111_round_wishes"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="SentList",
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
                        choices=[("prices", "Prices"), ("lots", "Lots"), ("formulas", "Formulas")],
                        max_length=8,
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waiting"),
                            ("tried", "Tried"),
                            ("wrong", "Wrong"),
                            ("taking", "Taking"),
                            ("taken", "Taken"),
                            ("stopped", "Stopped"),
                        ],
                        db_default="waiting",
                        max_length=7,
                    ),
                ),
                ("size", models.PositiveIntegerField()),
                ("digest", models.BinaryField(max_length=32)),
                ("content", models.BinaryField(null=True)),
                (
                    "sure",
                    models.BooleanField(
                        db_default=False, help_text="What is there already comes in, too."
                    ),
                ),
                ("found", models.JSONField(null=True)),
                ("why", models.CharField(blank=True, db_default="", max_length=400)),
                ("sent_at", models.DateTimeField()),
                (
                    "asked_at",
                    models.DateTimeField(help_text="When it was sent, or was to be taken in."),
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
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.maker",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["coop", "person", "-id"], name="sent_list_by_person"),
                    models.Index(fields=["sent_at"], name="sent_list_by_age"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["prices", "lots", "formulas"])),
                        name="sent_list_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("content__isnull", False),
                                ("state__in", ["waiting", "tried", "taking"]),
                            ),
                            models.Q(
                                ("content__isnull", True),
                                ("state__in", ["wrong", "taken", "stopped"]),
                            ),
                            _connector="OR",
                        ),
                        name="sent_list_file_while_needed",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("size__gt", 0), ("size__lte", 26214400)),
                        name="sent_list_size_kept",
                    ),
                ],
            },
        ),
        _sql.run("sent_lists", app="api"),
    ]
