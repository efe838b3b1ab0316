"""The walls of formulas, products and batches."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0001_tables"), ("ledger", "0002_walls")]

    operations = [_sql.run("walls", app="formulas")]
