from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0038_round_placements")]
    operations = [_sql.run("round_placements")]
