from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0004_cost_formula")]
    operations = [_sql.run("verify")]
