from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0002_walls")]
    operations = [_sql.run("rules", app="formulas")]
