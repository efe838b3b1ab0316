"""What is still to be poured of the lots that were picked for a line."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from uuid import UUID

ZERO = Decimal(0)


def still_to_pour(
    picks: Sequence[tuple[UUID, Decimal]], poured: Mapping[UUID, Decimal], still: Decimal
) -> list[Decimal]:
    """Grams that are left of each pick, a lot with its grams, in their order.

    That is what was picked less what was `poured` of the lot since; and in all no more than the
    line `still` wants, since another lot may have gone in.
    """
    found = []
    for lot, grams in picks:
        left = max(ZERO, min(grams - poured.get(lot, ZERO), grams, still))
        found.append(left)
        still -= left
    return found
