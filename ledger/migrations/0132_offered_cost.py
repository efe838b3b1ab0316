"""Whoever is offered goods at cost is told what they come to at present."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = (("ledger", "0131_answers_add_up"),)

    operations = (_sql.run("offered_cost"),)
