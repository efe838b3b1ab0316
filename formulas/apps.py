"""Formulas, batches and products."""

from django.apps import AppConfig


class FormulasConfig(AppConfig):
    """Formulas, batches and products."""

    name = "formulas"

    def ready(self) -> None:
        """Make known what the outbox may be asked, what a review looks at, and what is planned."""
        # It has tables, which are there only now.
        from formulas import planned_days, short_batches  # noqa: F401
