"""What a product's label needs beside its declaration, as the maker states it."""

from ledger.access import Actor
from ledger.models import Lot


def gtin_of_lot(actor: Actor, lot: Lot) -> str:
    """The GTIN of the maker's product that a lot is of; empty if none."""
    return ""
