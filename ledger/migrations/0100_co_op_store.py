"""One of a co-op's makers may keep its store."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0111_round_limits"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="StoreNaming",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=ledger.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("named_at", models.DateTimeField()),
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
                    "keeper",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        _sql.run("co_op_store"),
    ]
