"""Everything that speaks HTTP."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """Everything that speaks HTTP."""

    name = "api"

    def ready(self) -> None:
        """Make known what the outbox may be asked to do."""
        # It uses tables, which are there only now.
        from api import long_lists, webhooks  # noqa: F401
