"""The functions that alone write the ledger, and the closing of its books."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0003_post_entry"),
        ("ledger", "0004_cost_formula"),
        ("ledger", "0021_posting_quicker"),
        ("ledger", "0047_closing"),
    ]

    dependencies = [("ledger", "0002_walls")]

    operations = [
        _sql.renew("check_postings"),
        _sql.run("posting"),
        _sql.run("closing"),
        _sql.run("open_entry"),
        _sql.run("post_entry"),
        _sql.run("reverse_entry"),
        _sql.run("cost_formula"),
    ]
