"""Sentences of the domain kept as JSON until somebody reads them, in whatever language by then."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from ledger.amounts import Amount
from ledger.errors import Sentence


def to_keep(text: str) -> Any:
    """A sentence as its template with what stands in its places; any other text as it is."""
    if not isinstance(text, Sentence):
        return printable(text)
    places = {name: _place(value) for name, value in text.places.items()}
    return {"template": text.template, "places": places}


def as_kept(told: Any) -> str:
    """What `to_keep` made plain."""
    if not isinstance(told, Mapping):
        return str(told)
    places = {name: _read(value) for name, value in told["places"].items()}
    return Sentence(told["template"], **places)


def printable(text: str) -> str:
    """A text without what JSON in the database does not take."""
    return "".join(sign for sign in text if sign != "\0" and not "\ud800" <= sign <= "\udfff")


def _place(value: Any) -> Any:
    """What stands in a place: what a page writes in its reader's own way says what it is."""
    if isinstance(value, Decimal):
        return {"number": str(value)}
    if isinstance(value, date):
        return {"day": value.isoformat()[:10]}
    if isinstance(value, Amount):
        return {"amount": str(value.quantity), "counted": value.counted}
    if isinstance(value, int):
        return value
    return to_keep(value if isinstance(value, Sentence) else str(value))


def _read(told: Any) -> Any:
    if not isinstance(told, Mapping):
        return told
    if "number" in told:
        return Decimal(told["number"])
    if "day" in told:
        return date.fromisoformat(told["day"])
    if "amount" in told:
        return Amount(Decimal(told["amount"]), told["counted"])
    return as_kept(told)
