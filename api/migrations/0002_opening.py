"""Opening a request in one round trip, and what a person wants of pages."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("api", "0003_preferences"),
        ("api", "0004_preference_walls"),
    ]

    dependencies = [("api", "0001_tables"), ("ledger", "0002_walls")]

    operations = [
        _sql.run("opening", app="api"),
        _sql.run("preferences", app="api"),
    ]
