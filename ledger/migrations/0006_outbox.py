from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0005_verify")]
    operations = [_sql.run("outbox")]
