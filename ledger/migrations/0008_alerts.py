"""What makers choose about their alerts, who hears of them, and what was sent."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0009_counts"),
        ("ledger", "0011_bill_tables"),
        ("ledger", "0013_entry_deviating"),
        ("ledger", "0014_known_of_materials"),
        ("ledger", "0015_transfers"),
        ("ledger", "0017_material_cautions"),
        ("ledger", "0018_quality"),
        ("ledger", "0020_scrap"),
        ("ledger", "0022_recalls"),
        ("ledger", "0024_documents"),
        ("ledger", "0026_empty_kind"),
        ("ledger", "0027_arrival_condition"),
        ("ledger", "0030_offers"),
        ("ledger", "0032_price_jumps"),
        ("ledger", "0036_rounds"),
        ("ledger", "0038_round_placements"),
        ("ledger", "0040_orders"),
        ("ledger", "0050_alert_kinds"),
        ("ledger", "0051_alert_walls"),
        ("ledger", "0061_deposit_alerts"),
    ]

    dependencies = [("ledger", "0007_buying")]

    operations = [_sql.run("alerting")]
