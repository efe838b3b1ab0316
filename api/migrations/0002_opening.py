from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("api", "0001_tables"), ("ledger", "0005_verify")]
    operations = [_sql.run("opening", app="api")]
