"""Requests as they are sent where makers share goods and settle what they owe."""

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample

from api.rest.examples import BATCH_ID as SOME_ID
from api.rest.examples import LOT, SUPPLIER


def _sent(name: str, value: dict[str, Any]) -> list[OpenApiExample]:
    return [OpenApiExample(name, value=value, request_only=True)]


SHARE: Final = _sent(
    "Half a drum, at cost and five percent",
    {"lot": LOT, "quantity": "100 kg", "percent": "5", "accepts_itself": True},
)
CLAIM: Final = _sent("What the next two batches need", {"quantity": "12 kg"})
DECANTING: Final = _sent(
    "A drum for three, and freight that one of them paid",
    {
        "draws": [
            {"gross": "80.8 kg", "tare": "2 kg"},
            {"net": "59.1 kg", "maker": SOME_ID},
            {"net": "34.4 kg", "maker": SOME_ID},
        ],
        "paid": [{"maker": SOME_ID, "amount": "83.97", "note": "freight, to the carrier"}],
    },
)
DEPOSIT: Final = _sent("On a drum", {"supplier": SUPPLIER, "amount": "25.00", "lot": LOT})
CLOSED_BOOKS: Final = _sent("The end of a year", {"closed_on": "2024-12-31", "note": "2024"})
PAYMENT: Final = _sent(
    "By bank transfer",
    {
        "maker": SOME_ID,
        "direction": "paid",
        "amount": "183.17",
        "note": "bank transfer, the drum of May",
    },
)
DISPUTE: Final = _sent("Not so much", {"reason": "the jug held 11 kg, not 12"})
CLEARING: Final = _sent("The end of a month", {"note": "May, as agreed at the meeting"})
GIVING_BACK: Final = _sent("Half of it", {"quantity": "750 g", "note": "not needed after all"})
CO_OP_STORE: Final = _sent("Who keeps what is left of packs", {"maker": SOME_ID})
