"""Formulas, batches and products."""

from django.apps import AppConfig


class FormulasConfig(AppConfig):
    """Formulas, batches and products."""

    name = "formulas"

    def ready(self) -> None:
        """Make known what the outbox may be asked to do, and what a review looks at."""
        # It has tables, which are there only now.
        from formulas import short_batches  # noqa: F401
