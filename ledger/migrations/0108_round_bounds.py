"""How near to the cheapest a round's orders are known to be; and what stands in its way."""

from django.db import migrations, models

from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0116_material_maxima"),
    ]

    operations = [
        Together(
            migrations.AddField(
                model_name="roundoutcome",
                name="bound",
                field=models.DecimalField(decimal_places=6, max_digits=18, null=True),
            ),
            migrations.AddField(
                model_name="roundoutcome",
                name="by_size",
                field=models.JSONField(db_default=[], default=list),
            ),
            migrations.AddField(
                model_name="roundoutcome",
                name="gap",
                field=models.DecimalField(decimal_places=6, max_digits=7, null=True),
            ),
            migrations.AddConstraint(
                model_name="roundoutcome",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("bound__isnull", True),
                        models.Q(("bound__gte", 0), ("bound__lte", models.F("together"))),
                        _connector="OR",
                    ),
                    name="round_bound_not_above_cost",
                ),
            ),
            migrations.AddConstraint(
                model_name="roundoutcome",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("gap__isnull", True),
                        models.Q(("gap__gte", 0), ("gap__lte", 1)),
                        _connector="OR",
                    ),
                    name="round_gap_a_part",
                ),
            ),
        ),
        _sql.run("round_trouble"),
    ]
