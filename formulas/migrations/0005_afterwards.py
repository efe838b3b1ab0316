"""What a batch should have cost, and what customers say of it."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("formulas", "0004_product_use"),
        ("formulas", "0005_measurements"),
        ("formulas", "0007_weighing_addition"),
        ("formulas", "0009_made_for"),
        ("formulas", "0010_product_labels"),
        ("formulas", "0011_scrap"),
        ("formulas", "0012_rework_walls"),
        ("formulas", "0013_net_contents"),
        ("formulas", "0015_labour_minutes"),
        ("formulas", "0016_infusions"),
        ("formulas", "0017_infusion_rule"),
        ("formulas", "0018_standard_costs"),
        ("formulas", "0019_standard_cost_walls"),
        ("formulas", "0020_by_products"),
        ("formulas", "0021_by_product_walls"),
        ("formulas", "0022_complaints"),
        ("formulas", "0023_complaint_walls"),
        ("formulas", "0024_emptyings"),
        ("formulas", "0025_emptying_walls"),
        ("formulas", "0026_second_looks"),
        ("formulas", "0030_batch_checks"),
    ]

    dependencies = [("formulas", "0004_bench")]

    operations = [
        _sql.run("standard_kept", app="formulas"),
        _sql.run("standards", app="formulas"),
        _sql.run("complaints", app="formulas"),
    ]
