from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0009_counts")]
    operations = [_sql.run("counts")]
