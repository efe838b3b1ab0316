from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0020_by_products")]
    operations = [_sql.run("by_products", app="formulas")]
