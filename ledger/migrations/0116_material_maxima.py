"""A certificate's maximum for each kind of product."""

import django.db.models.deletion
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [("ledger", "0112_watch_safety_stock")]

    operations = [
        Together(
            migrations.CreateModel(
                name="MaterialMaximum",
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
                    ("kind", models.CharField(max_length=9)),
                    ("max_percent", models.DecimalField(decimal_places=6, max_digits=9)),
                    ("category", models.CharField(blank=True, max_length=120)),
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
                        "material",
                        models.ForeignKey(
                            db_constraint=False,
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="maxima",
                            to="ledger.material",
                        ),
                    ),
                ],
                options={"verbose_name_plural": "material maxima"},
            ),
            migrations.AddConstraint(
                model_name="materialmaximum",
                constraint=models.UniqueConstraint(
                    fields=("coop", "material", "kind"), name="material_maximum_once"
                ),
            ),
            migrations.AddConstraint(
                model_name="materialmaximum",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("kind__in", ["leave_on", "rinse_off", "eye", "lip", "baby"]),
                        ("max_percent__gt", 0),
                        ("max_percent__lte", 100),
                    ),
                    name="material_maximum_within_100",
                ),
            ),
        ),
        _sql.run("maxima"),
    ]
