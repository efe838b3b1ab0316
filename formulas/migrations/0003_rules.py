"""What must be true of formulas, products and batches, whoever writes them."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0002_walls")]

    operations = [
        _sql.run("rules", app="formulas"),
        _sql.run("infusions", app="formulas"),
        _sql.run("gtins", app="formulas"),
    ]
