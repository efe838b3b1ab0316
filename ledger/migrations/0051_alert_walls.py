"""Walls around what makers choose about their alerts, and around what was sent."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0050_alert_kinds")]

    operations = [_sql.run("alerting")]
