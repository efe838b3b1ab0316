"""A maker's places, and where each lot was put."""

from typing import Any

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together

STATUSES = [("quarantine", "Quarantine"), ("released", "Released"), ("rejected", "Rejected")]
STATUSES += [("hold", "Hold")]


def _id() -> "models.UUIDField[Any, Any]":
    return models.UUIDField(
        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
    )


def _link(to: str, *, null: bool = False) -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        db_constraint=False,
        db_index=False,
        null=null,
        on_delete=django.db.models.deletion.PROTECT,
        related_name="+",
        to=to,
    )


PLACE = [
    ("id", _id()),
    ("name", models.CharField(max_length=80)),
    ("keeps", models.CharField(blank=True, choices=STATUSES, max_length=10)),
    ("retired_at", models.DateTimeField(null=True)),
    ("version", models.PositiveIntegerField(default=1)),
    ("created_at", models.DateTimeField(auto_now_add=True)),
    ("coop", _link("ledger.coop")),
    ("maker", _link("ledger.maker")),
]
PLACING = [
    ("id", _id()),
    ("placed_at", models.DateTimeField(auto_now_add=True)),
    ("coop", _link("ledger.coop")),
    ("lot", _link("ledger.lot")),
    ("maker", _link("ledger.maker")),
    (
        "person",
        models.ForeignKey(
            db_index=False,
            on_delete=django.db.models.deletion.PROTECT,
            related_name="+",
            to=settings.AUTH_USER_MODEL,
        ),
    ),
    ("place", _link("ledger.place", null=True)),
]


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0126_material_functions"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.CreateModel(name="Place", fields=PLACE),
            migrations.CreateModel(name="Placing", fields=PLACING),
            migrations.AddField(
                model_name="custody", name="place", field=_link("ledger.place", null=True)
            ),
            migrations.AddIndex(
                model_name="custody",
                index=models.Index(
                    condition=models.Q(("place__isnull", False)),
                    fields=["coop", "maker", "place"],
                    name="custody_by_place",
                ),
            ),
            migrations.AddConstraint(
                model_name="place",
                constraint=models.UniqueConstraint(
                    models.F("coop"),
                    models.F("maker"),
                    django.db.models.functions.text.Lower("name"),
                    name="place_name_once",
                ),
            ),
            migrations.AddConstraint(
                model_name="place",
                constraint=models.CheckConstraint(
                    condition=models.Q(("name", ""), _negated=True), name="place_has_a_name"
                ),
            ),
            migrations.AddConstraint(
                model_name="place",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("keeps__in", ["", "quarantine", "released", "rejected", "hold"])
                    ),
                    name="place_keeps_a_status",
                ),
            ),
            migrations.AddIndex(
                model_name="placing",
                index=models.Index(fields=["coop", "maker", "lot"], name="placing_by_lot"),
            ),
        ),
        _sql.run("places"),
        _sql.renew("shown"),
        _sql.renew("verify"),
    ]
