from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0011_scrap")]
    operations = [_sql.run("rework", app="formulas")]
