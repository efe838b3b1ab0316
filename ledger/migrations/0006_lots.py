"""What materials and lots are, and what is found of them: parts, counts, tests, papers."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    replaces = [
        ("ledger", "0008_material_parts"),
        ("ledger", "0010_count_walls"),
        ("ledger", "0019_quality_walls"),
        ("ledger", "0023_recall_walls"),
        ("ledger", "0025_document_walls"),
        ("ledger", "0046_decanting"),
        ("ledger", "0060_source_tests"),
    ]

    dependencies = [("ledger", "0005_between_makers")]

    operations = [
        _sql.run("parts"),
        _sql.run("counts"),
        _sql.run("quality"),
        _sql.run("source_tests"),
        _sql.run("documents"),
        _sql.run("recalls"),
        _sql.run("decanting"),
    ]
