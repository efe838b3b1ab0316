"""Changes of an app's tables in one operation, so that Django imagines the whole app once."""

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.operations.fields import FieldOperation
from django.db.migrations.operations.models import IndexOperation
from django.db.migrations.state import ProjectState


class Together(Operation):
    """Make these changes, in this order.

    As operations of their own each would have Django build every model anew that is related to its
    own, and all are, through their co-op: most of the time of a first start. What one table says of
    another may come before it, since references between them are made in SQL, with the walls.
    """

    def __init__(self, *changes: Operation) -> None:
        """Keep them in their order."""
        self.changes = changes

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Know all of them, and build the models once when they are next asked for."""
        vars(state).pop("apps", None)
        for change in self.changes:
            change.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: Any,
        to_state: Any,
    ) -> None:
        """Make each."""
        for change in self._of_their_own():
            change.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: Any,
        to_state: Any,
    ) -> None:
        """Take each away, with all that hangs on it."""
        for change in reversed(self._of_their_own()):
            change.database_backwards(app_label, schema_editor, from_state, to_state)

    def _of_their_own(self) -> list[Operation]:
        """All but what is said of a table made here: it is made with that."""
        made = {one.name_lower for one in self.changes if isinstance(one, migrations.CreateModel)}
        return [
            one
            for one in self.changes
            if not (
                isinstance(one, FieldOperation | IndexOperation) and one.model_name_lower in made
            )
        ]

    def describe(self) -> str:
        """What it does, for whoever reads a plan."""
        return "; ".join(one.describe() for one in self.changes)
