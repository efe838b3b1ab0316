"""The ledger: lots, holdings, entries and postings."""

from django.apps import AppConfig


class LedgerConfig(AppConfig):
    """The ledger: lots, holdings, entries and postings."""

    name = "ledger"

    def ready(self) -> None:
        """Make known what the outbox may be asked to do, and what a review looks at."""
        # They have tables, which are there only now.
        from ledger import (  # noqa: F401
            alert_mail,
            alerts,
            deposit_alerts,
            lot_alerts,
            price_jumps,
            recall_alerts,
            reviewing,
        )
