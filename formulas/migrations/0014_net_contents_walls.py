from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0013_net_contents")]
    operations = [_sql.run("contents", app="formulas")]
