"""Row-level security, keys that stay inside a co-op or a maker, and least privilege."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0001_tables")]

    operations = [_sql.run("walls")]
