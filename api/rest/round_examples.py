"""Requests of ordering together as they are sent, for the document."""

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample

from api.rest.examples import BATCH_ID as SOME_ID
from api.rest.examples import GLYCERIN


def _sent(name: str, value: dict[str, Any]) -> list[OpenApiExample]:
    return [OpenApiExample(name, value=value, request_only=True)]


ORDER_ROUND: Final = _sent(
    "Pledges until Friday evening",
    {"name": "June oils", "closes_at": "2199-06-07T18:00:00+02:00", "buyer": SOME_ID},
)
BUYER_ANSWER: Final = _sent("We order and receive", {"agrees": True})
ROUND_BUYER: Final = _sent("Who has room for it", {"buyer": SOME_ID})
_PLEDGED: Final = {"quantity": "12 kg", "highest_price": "4.20", "takes_leftover": True}
PLEDGE: Final = _sent(
    "Twelve kilograms, and some of what is left", {"material": GLYCERIN, **_PLEDGED}
)
PLEDGE_WITHDRAWAL: Final = _sent("None of it after all", {"material": GLYCERIN})
PLACED_ORDERS: Final = _sent("As the round says", {"note": "with the lorry of the 11th"})
HAND_OUT: Final = _sent("Out of one lot", {"lots": [SOME_ID], "note": "to be fetched on Saturday"})
LATE_BILLS: Final = _sent("The carrier's bill", {"note": "freight of the 11th"})
