"""Offers and orders, alone and in rounds, and the bills that come after."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0012_bills"),
        ("ledger", "0031_offer_walls"),
        ("ledger", "0037_round_walls"),
        ("ledger", "0039_round_placement_walls"),
        ("ledger", "0041_order_walls"),
    ]

    dependencies = [("ledger", "0006_lots")]

    operations = [
        _sql.run("offers"),
        _sql.run("orders"),
        _sql.run("rounds"),
        _sql.renew("round_closing"),
        _sql.run("round_placements"),
        _sql.run("bills"),
        _sql.renew("revaluing"),
    ]
