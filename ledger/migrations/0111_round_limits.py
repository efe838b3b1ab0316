"""Whoever hands out a round is told whom that costs more than the highest price it has named."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0110_round_own_alone")]

    operations = [_sql.run("round_limits")]
