"""Migrations whose SQL stands in an app's sql/, each file with the file that takes it back."""

from pathlib import Path

from django.db import migrations

ROOT = Path(__file__).resolve().parents[2]


def run(name: str, app: str = "ledger") -> migrations.RunSQL:
    """Run APP/sql/NAME.sql forwards and NAME_undo.sql backwards, each as one batch.

    Walls and triggers fall with the table that they stand on, in the migration that made it: what
    is undone takes back only what would outlive that.
    """
    folder = ROOT / app / "sql"
    forwards = (folder / f"{name}.sql").read_text()
    backwards = (folder / f"{name}_undo.sql").read_text()
    return migrations.RunSQL([(forwards, None)], [(backwards, None)])


def renew(name: str, app: str = "ledger") -> migrations.RunSQL:
    """Run APP/sql/NAME.sql once more: its functions are made or replaced as they now stand.

    Going back leaves them: the migration that first made them takes them away.
    """
    text = (ROOT / app / "sql" / f"{name}.sql").read_text()
    return migrations.RunSQL([(text, None)], migrations.RunSQL.noop)
