from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0036_rounds")]
    operations = [_sql.run("rounds")]
