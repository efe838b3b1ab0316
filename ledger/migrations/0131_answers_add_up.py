"""What is told of a recall with figures of one's own is possible at all."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0130_days_given")]

    operations = [_sql.run("answers_add_up")]
