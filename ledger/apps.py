"""The ledger: lots, holdings, entries and postings."""

from django.apps import AppConfig


class LedgerConfig(AppConfig):
    """The ledger: lots, holdings, entries and postings."""

    name = "ledger"
