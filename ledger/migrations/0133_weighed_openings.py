"""An offer at cost tells a cost only while its goods are free to give; and what is counted is never
open as a whole."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = (("ledger", "0132_offered_cost"),)

    operations = (
        _sql.renew("offered_cost"),
        _sql.renew("open_lot"),
    )
