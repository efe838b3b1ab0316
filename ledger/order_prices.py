"""What was paid for what came, against what was agreed when it was ordered.

The price variance of a purchase is actual - agreed: (actual price - agreed price) x what came.
Above zero it cost more than agreed and is adverse, below zero it is favourable (the textbooks'
purchase price variance, which some write with the other sign; common practice). Freight and other
charges are no part of it, and neither are bills that come later: they stand beside the delivery.

Quantities are grams or pieces, money is in the co-op's currency.
"""

from decimal import Decimal
from fractions import Fraction

from ledger.costing import round_stored
from ledger.errors import QuantityNotPositive


def agreed_price(price: Decimal, ordered: Decimal, quantity: Decimal) -> Decimal:
    """What `quantity` should cost where `price` was agreed for `ordered`, to six decimals.

    What comes beyond the order is taken at the same price. Raises QuantityNotPositive where
    nothing was ordered.
    """
    if ordered <= 0:
        raise QuantityNotPositive
    return round_stored(Fraction(price) * Fraction(quantity) / Fraction(ordered))


def price_variance(goods: Decimal, agreed: Decimal) -> Decimal:
    """`goods`, which is price less discount of what came, less what was agreed for it."""
    return goods - agreed
