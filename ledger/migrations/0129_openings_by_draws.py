"""What was drawn opened its lot, also before anybody knew for how long it lasts; only what is weighed
out of a container has days once it is open.

Pieces that have such days all the same lose them, or each would be past its day with the first.
Their version goes on, since whoever has read it read another.
"""

from django.db import migrations, models

from ledger.migrations import _sql

# The owner of the tables stands before the walls of the co-ops like anybody else.
PUT_RIGHT = """
alter table ledger_material no force row level security;
update ledger_material set use_within_days = null, version = version + 1
 where use_within_days is not null and (measured_by = 'count' or not stocked);
alter table ledger_material force row level security;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0128_lot_openings"),
    ]

    operations = [
        migrations.RunSQL(PUT_RIGHT, migrations.RunSQL.noop),
        migrations.AddConstraint(
            model_name="material",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("use_within_days__isnull", True),
                    models.Q(("stocked", True), models.Q(("measured_by", "count"), _negated=True)),
                    _connector="OR",
                ),
                name="material_use_within_days_once_open",
            ),
        ),
        _sql.run("first_drawn"),
        _sql.run("custody_begins_closed"),
        _sql.renew("open_lot"),
        _sql.renew("post_entry"),
        _sql.renew("between_makers"),
        _sql.renew("verify"),
        _sql.renew("show_offered"),
        _sql.renew("show_shares"),
    ]
