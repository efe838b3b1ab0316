from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0018_standard_costs")]
    operations = [_sql.run("standards", app="formulas")]
