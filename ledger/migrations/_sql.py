"""Migrations whose SQL stands in an app's sql/, each file with the file that takes it back."""

from pathlib import Path

from django.db import migrations

ROOT = Path(__file__).resolve().parents[2]


def run(name: str, app: str = "ledger") -> migrations.RunSQL:
    """Run APP/sql/NAME.sql forwards and NAME_undo.sql backwards, each as one batch."""
    folder = ROOT / app / "sql"
    forwards = (folder / f"{name}.sql").read_text()
    backwards = (folder / f"{name}_undo.sql").read_text()
    return migrations.RunSQL([(forwards, None)], [(backwards, None)])
