"""Bulk is filled in time; a fill notes its label and its density, a product who it is for."""

from django.db import migrations, models

from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [("formulas", "0006_enough_and_why")]

    operations = [
        Together(
            migrations.AddField(
                model_name="formulaversion",
                name="fill_within_days",
                field=models.PositiveIntegerField(help_text="Of making the bulk.", null=True),
            ),
            migrations.AddConstraint(
                model_name="formulaversion",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("fill_within_days__isnull", True),
                        models.Q(("fill_within_days__gte", 1), ("fill_within_days__lte", 3650)),
                        _connector="OR",
                    ),
                    name="formula_fill_within_plausible",
                ),
            ),
            migrations.AddField(
                model_name="making",
                name="label_version",
                field=models.CharField(blank=True, max_length=60),
            ),
            migrations.AddField(
                model_name="filling",
                name="density",
                field=models.DecimalField(decimal_places=12, max_digits=16, null=True),
            ),
            migrations.AddField(
                model_name="filling",
                name="density_at",
                field=models.DecimalField(decimal_places=2, max_digits=6, null=True),
            ),
            migrations.AddField(
                model_name="filling",
                name="label_version",
                field=models.CharField(blank=True, max_length=60),
            ),
            migrations.AddConstraint(
                model_name="filling",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("density__isnull", True),
                        models.Q(("density__gt", 0), ("density__lt", 30)),
                        _connector="OR",
                    ),
                    name="filling_density_plausible",
                ),
            ),
            migrations.AddField(
                model_name="product",
                name="professional_only",
                field=models.BooleanField(default=False),
            ),
        ),
        _sql.run("filled_in_time", app="formulas"),
    ]
