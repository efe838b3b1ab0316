"""Where a maker stands: positions and the work they owe, figures as shown, and their proof."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0005_verify"),
        ("ledger", "0006_outbox"),
        ("ledger", "0007_shown"),
        ("ledger", "0052_sweep"),
    ]

    dependencies = [("ledger", "0003_posting")]

    operations = [
        _sql.run("outbox"),
        _sql.renew("sweep"),
        _sql.run("shown"),
        _sql.run("verify"),
    ]
