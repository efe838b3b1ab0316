from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0003_post_entry")]
    operations = [_sql.run("cost_formula")]
