from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0022_complaints")]
    operations = [_sql.run("complaints", app="formulas")]
