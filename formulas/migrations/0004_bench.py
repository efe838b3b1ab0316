"""What is measured, weighed and checked at the bench, and what a batch wants since."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("formulas", "0006_measurement_walls"),
        ("formulas", "0008_topping_up"),
        ("formulas", "0014_net_contents_walls"),
    ]

    dependencies = [("formulas", "0003_rules")]

    operations = [
        _sql.run("measurements", app="formulas"),
        _sql.run("topping_up", app="formulas"),
        _sql.run("second_looks", app="formulas"),
        _sql.run("batch_checks", app="formulas"),
        _sql.run("contents", app="formulas"),
    ]
