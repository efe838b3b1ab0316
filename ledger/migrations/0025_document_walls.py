from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0024_documents")]
    operations = [_sql.run("documents"), _sql.renew("shown")]
