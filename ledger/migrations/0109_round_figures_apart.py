"""A maker is told its own part of a round by the database, and of no other."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0108_round_bounds")]

    operations = [_sql.renew("round_reading")]
