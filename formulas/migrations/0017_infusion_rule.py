from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0016_infusions")]
    operations = [_sql.run("infusions", app="formulas")]
