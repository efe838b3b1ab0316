"""What of a recalled lot nobody can account for.

The books always close: whatever leaves a store goes to an account. What a count found gone, and
for which nobody found a cause but shrink, stands in such an account as well, and yet nobody knows
where it is; it may have left the house. In a recall it is not accounted for (the purpose of a
mass balance: 21 CFR 7.42, ISO 22005). What was spilt, has evaporated or was scrapped is.
"""

from decimal import Decimal
from typing import Final

from ledger.models import Account, CountCause
from ledger.recalling import Listed, Place, RecallList

ZERO: Final = Decimal(0)
_NOWHERE: Final = (Account.Kind.LOSS, CountCause.Cause.SHRINK)


def is_explained(place: Place) -> bool:
    """Whether anybody knows what became of what lies there by the books."""
    return (place.kind, place.account) != _NOWHERE


def accounted_for(found: RecallList) -> Decimal:
    """How much of the recalled lot lies, or went, where somebody knows."""
    return sum(
        (place.of_recalled for lot in found.lots for place in lot.places if is_explained(place)),
        ZERO,
    )


def unexplained_in(lot: Listed) -> Decimal:
    """What of a lot nobody can account for: gone without a cause, or not found by the books."""
    gone = sum((place.quantity for place in lot.places if not is_explained(place)), ZERO)
    return lot.unexplained + gone
