"""What makers offer, share, give back and owe each other."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0016_moves_between_makers"),
        ("ledger", "0044_shares"),
        ("ledger", "0045_settlement"),
        ("ledger", "0048_giving_back"),
    ]

    dependencies = [("ledger", "0004_stock")]

    operations = [
        _sql.run("transfers"),
        _sql.run("between_makers"),
        _sql.run("giving_back"),
        _sql.run("sharing"),
        _sql.run("settlement"),
    ]
