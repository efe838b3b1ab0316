"""That a line to effect is enough is said and kept, and a version says why it was written."""

from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("formulas", "0013_newer_lots"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.AddField(
                model_name="formulaversion",
                name="note",
                field=models.CharField(blank=True, db_default="", default="", max_length=400),
            ),
            migrations.CreateModel(
                name="Enough",
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
                    ("enough", models.BooleanField()),
                    ("grams", models.DecimalField(decimal_places=6, max_digits=18)),
                    ("said_at", models.DateTimeField()),
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
                        "line",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="words",
                            to="formulas.batchline",
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
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to=settings.AUTH_USER_MODEL,
                        ),
                    ),
                ],
                options={
                    "indexes": [models.Index(fields=["coop", "line"], name="enough_of_line")],
                    "constraints": [
                        models.CheckConstraint(
                            condition=models.Q(
                                ("grams__gt", 0), ("grams__lt", Decimal("1000000000000"))
                            ),
                            name="enough_of_something",
                        )
                    ],
                },
            ),
        ),
        _sql.run("enough", app="formulas"),
    ]
