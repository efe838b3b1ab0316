"""Orders as they are sent, for the document and for whoever tries them for the first time."""

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample

from api.rest.examples import GLYCERIN, SUPPLIER

ORDER_LINE: Final = "0198a7b0-0000-7000-8000-000000000021"


def _sent(name: str, value: dict[str, Any]) -> list[OpenApiExample]:
    return [OpenApiExample(name, value=value, request_only=True)]


PURCHASE_ORDER: Final = _sent(
    "Two drums of a humectant",
    {
        "supplier": SUPPLIER,
        "happened_at": "2025-04-22T08:00:00Z",
        "lines": [
            {
                "material": GLYCERIN,
                "packs": 2,
                "pack": "4 gal",
                "price": "372.00",
                "expected_on": "2025-05-06",
            }
        ],
    },
)
ORDER_CORRECTION: Final = _sent(
    "The supplier has one drum left, and says when it comes",
    {
        "order_line": ORDER_LINE,
        "packs": 1,
        "price": "186.00",
        "expected_on": "2025-05-09",
        "reason": "told on the phone",
    },
)
ORDER_ENDING: Final = _sent("The rest will not come", {"reason": "the supplier is out of it"})
ORDER_SENDING: Final = _sent("With a word", {"note": "Please ring before you come."})
SIZES: Final = _sent(
    "Freight of 28.00, and a fifth of the price a year to keep it",
    {"per_order": "28.00", "keeping_percent": "20"},
)
