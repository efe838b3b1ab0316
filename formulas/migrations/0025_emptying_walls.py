from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0024_emptyings")]
    operations = [_sql.run("emptyings", app="formulas")]
