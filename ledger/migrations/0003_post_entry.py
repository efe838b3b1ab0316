from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0002_walls")]
    operations = [_sql.run("posting"), _sql.run("post_entry"), _sql.run("reverse_entry")]
