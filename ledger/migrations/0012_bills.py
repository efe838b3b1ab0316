from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0011_bill_tables")]
    operations = [_sql.run("bills")]
