"""Questions of an order plan in whole numbers, as tests write them down."""

from collections.abc import Sequence

from ledger.order_numbers import Agreed, Choice, Question, Tier


def offer(
    supplier: int, size: int, *prices: tuple[int, int], material: int = 0, usable: int | None = None
) -> Choice:
    """Each price from so many packs on."""
    firsts = [first for first, _ in prices]
    lasts = [*(first - 1 for first in firsts[1:]), None]
    tiers = tuple(map(Tier, firsts, lasts, [price for _, price in prices]))
    return Choice(material, supplier, size, tiers, usable=usable)


def asking(needs: Sequence[int], agreed: Sequence[Agreed], *choices: Choice) -> Question:
    return Question(tuple(needs), choices, tuple(agreed), 1, 1)


def agreed(flat: int = 0, least: int = 0, free_from: int | None = None) -> Agreed:
    return Agreed(least, flat, by_mass=False, free_from=free_from)
