"""Migrations whose SQL stands in formulas/sql, each file with the file that takes it back."""

from pathlib import Path

from django.db import migrations

FOLDER = Path(__file__).resolve().parent.parent / "sql"


def run(name: str) -> migrations.RunSQL:
    """Run sql/NAME.sql forwards and sql/NAME_undo.sql backwards, each as one batch."""
    forwards = (FOLDER / f"{name}.sql").read_text()
    backwards = (FOLDER / f"{name}_undo.sql").read_text()
    return migrations.RunSQL([(forwards, None)], [(backwards, None)])
