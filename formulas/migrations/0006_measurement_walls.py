from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0005_measurements")]
    operations = [_sql.run("measurements", app="formulas")]
