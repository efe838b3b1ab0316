"""When a maker opened a lot, and for how many days a material is good then."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import ledger.ids
from ledger.migrations import _sql
from ledger.migrations._together import Together


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0127_places"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Together(
            migrations.CreateModel(
                name="LotOpening",
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
                    ("opened_on", models.DateField(null=True)),
                    ("use_within_days", models.PositiveSmallIntegerField(null=True)),
                    ("reason", models.CharField(blank=True, max_length=400)),
                    ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ],
            ),
            migrations.AddField(
                model_name="custody",
                name="opened_on",
                field=models.DateField(null=True),
            ),
            migrations.AddField(
                model_name="custody",
                name="use_by",
                field=models.DateField(null=True),
            ),
            migrations.AddField(
                model_name="material",
                name="use_within_days",
                field=models.PositiveSmallIntegerField(
                    help_text="Days for which it is good once it is open.", null=True
                ),
            ),
            migrations.AddConstraint(
                model_name="custody",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("use_by__isnull", True),
                        models.Q(
                            ("opened_on__isnull", False), ("use_by__gt", models.F("opened_on"))
                        ),
                        _connector="OR",
                    ),
                    name="custody_used_within_days_of_opening",
                ),
            ),
            migrations.AddConstraint(
                model_name="material",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("use_within_days__isnull", True),
                        models.Q(("use_within_days__gte", 1), ("use_within_days__lte", 3650)),
                        _connector="OR",
                    ),
                    name="material_use_within_days_known",
                ),
            ),
            migrations.AddField(
                model_name="lotopening",
                name="coop",
                field=models.ForeignKey(
                    db_constraint=False,
                    db_index=False,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name="+",
                    to="ledger.coop",
                ),
            ),
            migrations.AddField(
                model_name="lotopening",
                name="entry",
                field=models.ForeignKey(
                    db_constraint=False,
                    db_index=False,
                    null=True,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name="+",
                    to="ledger.entry",
                ),
            ),
            migrations.AddField(
                model_name="lotopening",
                name="lot",
                field=models.ForeignKey(
                    db_constraint=False,
                    db_index=False,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name="+",
                    to="ledger.lot",
                ),
            ),
            migrations.AddField(
                model_name="lotopening",
                name="maker",
                field=models.ForeignKey(
                    db_constraint=False,
                    db_index=False,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name="+",
                    to="ledger.maker",
                ),
            ),
            migrations.AddField(
                model_name="lotopening",
                name="person",
                field=models.ForeignKey(
                    db_index=False,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name="+",
                    to=settings.AUTH_USER_MODEL,
                ),
            ),
            migrations.AddIndex(
                model_name="lotopening",
                index=models.Index(fields=["coop", "maker", "lot"], name="opening_by_lot"),
            ),
            migrations.AddConstraint(
                model_name="lotopening",
                constraint=models.CheckConstraint(
                    condition=models.Q(
                        ("use_within_days__isnull", True),
                        models.Q(
                            ("opened_on__isnull", False),
                            ("use_within_days__gte", 1),
                            ("use_within_days__lte", 3650),
                        ),
                        _connector="OR",
                    ),
                    name="opening_days_known",
                ),
            ),
        ),
        _sql.run("last_day"),
        _sql.renew("open_lot"),
        _sql.run("lot_openings"),
        _sql.renew("position"),
        _sql.renew("shown"),
        _sql.renew("sweep"),
        _sql.renew("post_entry"),
        _sql.renew("between_makers"),
    ]
