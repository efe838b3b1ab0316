from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0006_outbox")]
    operations = [_sql.run("shown")]
