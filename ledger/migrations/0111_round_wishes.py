"""A round has a budget and suppliers to leave out, and a pledge what its maker uses."""

from decimal import Decimal

from django.conf import settings
from django.db import migrations, models

from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0100_co_op_store"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.AddField(
                model_name="orderround",
                name="budget",
                field=models.DecimalField(decimal_places=6, max_digits=18, null=True),
            ),
            migrations.AddField(
                model_name="orderround",
                name="without",
                field=models.JSONField(db_default=[], default=list),
            ),
            migrations.AddField(
                model_name="roundoutcome",
                name="over_budget",
                field=models.DecimalField(decimal_places=6, max_digits=18, null=True),
            ),
            migrations.AddField(
                model_name="roundpledge",
                name="use_per_month",
                field=models.DecimalField(decimal_places=6, max_digits=18, null=True),
            ),
            migrations.AddConstraint(
                model_name="orderround",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("budget__isnull", True),
                        models.Q(("budget__gt", 0), ("budget__lt", Decimal("1000000000000"))),
                        _connector="OR",
                    ),
                    name="round_budget_positive",
                ),
            ),
            migrations.AddConstraint(
                model_name="roundpledge",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("use_per_month__isnull", True),
                        models.Q(
                            ("use_per_month__gt", 0),
                            ("use_per_month__lt", Decimal("1000000000000")),
                        ),
                        _connector="OR",
                    ),
                    name="pledge_use_positive",
                ),
            ),
        ),
        _sql.run("round_uses"),
    ]
