from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0022_recalls")]
    operations = [_sql.run("recalls")]
