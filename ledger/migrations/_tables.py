"""All tables of an app in one operation, so that Django imagines the whole app once."""

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class Tables(Operation):
    """Make these tables, in this order.

    As operations of their own each would have Django build every model anew that is related to its
    own, and all are, through their co-op: most of the time of a first start. What one table says of
    another may come before it, since references between them are made in SQL, with the walls.
    """

    def __init__(self, *tables: migrations.CreateModel) -> None:
        """Keep them in their order."""
        self.tables = tables

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Know all of them, and build the models once when they are next asked for."""
        vars(state).pop("apps", None)
        for table in self.tables:
            table.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: Any,
        to_state: Any,
    ) -> None:
        """Make each."""
        for table in self.tables:
            table.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: Any,
        to_state: Any,
    ) -> None:
        """Take each away, with all that hangs on it."""
        for table in reversed(self.tables):
            table.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """What it does, for whoever reads a plan."""
        return "Create all tables"
