"""Who gets how much of what came of a round, and what each pays for it. Pure.

Quantities are grams, or pieces for what is counted; amounts are in the co-op's currency.

**What came short** is handed out in proportion to what was pledged, in steps of the scale by
largest remainder; leftover is handed out only when all pledges are served. What came beyond what
was ordered stays with the buyer, at its cost.

**What was really paid** for what is handed out is what all pay together, to the coin. Where it is
what the round has reckoned, each pays what the round has split, exactly. Otherwise the difference
of a material's goods is borne by those who get of it, and that of freight and other charges by all,
each time in proportion to what the split asks of each for what it gets. Nobody pays for what did
not come; and nobody pays more than what it gets would have cost it alone, as long as the others
save enough to bear that (common practice in purchases for others: the buyer gains and loses
nothing; the rule itself is this program's own).
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from math import floor, lcm
from typing import Any, Final, Generic, TypeVar

from ledger.money import round_to_step, split_exactly

# What a scale shows of grams; pieces are whole.
SCALE: Final = Decimal("0.01")
PIECE: Final = Decimal(1)
NOTHING: Final = Decimal(0)
Maker = TypeVar("Maker", bound=Hashable)
Lot = TypeVar("Lot", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Due(Generic[Maker]):
    """What the round has promised a maker of a material, and for how much; leftover beside it."""

    maker: Maker
    material: Hashable
    quantity: Decimal
    amount: Decimal
    leftover: Decimal = NOTHING
    leftover_amount: Decimal = NOTHING


@dataclass(frozen=True, slots=True)
class AloneOrder:
    """An order that a maker would have placed alone: its freight, and its goods by material."""

    freight: Decimal
    goods: Mapping[Any, Decimal]


@dataclass(frozen=True, slots=True)
class Alone:
    """The best that a maker could have done alone."""

    cost: Decimal
    orders: Sequence[AloneOrder] = ()


@dataclass(frozen=True, slots=True)
class Came:
    """What was ordered of a material, for how much; what came, and what was paid for it.

    `goods` are without freight and other charges, both when ordered and when paid.
    """

    ordered: Decimal
    ordered_goods: Decimal
    quantity: Decimal
    goods: Fraction
    charges: Fraction
    counted: bool = False

    @property
    def handed_out(self) -> Decimal:
        """As much as came, and no more than was ordered."""
        return min(self.quantity, self.ordered)

    @property
    def paid(self) -> Fraction:
        """For the goods that are handed out."""
        if not self.quantity:
            return Fraction(0)
        return self.goods * Fraction(self.handed_out) / Fraction(self.quantity)

    @property
    def dearness(self) -> Fraction:
        """What the goods cost for each unit of what had been reckoned."""
        if not self.handed_out or not self.ordered_goods:
            return Fraction(1)
        reckoned = Fraction(self.ordered_goods) * Fraction(self.handed_out) / Fraction(self.ordered)
        return self.paid / reckoned


@dataclass(frozen=True, slots=True)
class Portion(Generic[Maker]):
    """So much of a material for a maker, which pays so much for it."""

    maker: Maker
    material: Hashable
    quantity: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class HandedOut(Generic[Maker]):
    """Portions that sum to what came, and to what was `paid`.

    `within_alone` says whether nobody pays more than what it gets would have cost it alone.
    """

    portions: tuple[Portion[Maker], ...]
    paid: Decimal
    within_alone: bool


@dataclass(frozen=True, slots=True)
class Taken(Generic[Maker, Lot]):
    """A portion, or a part of one, out of a lot."""

    maker: Maker
    lot: Lot
    quantity: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Paid(Generic[Maker, Lot]):
    """A portion out of a `lot`, with all that was paid for it so far."""

    maker: Maker
    material: Hashable
    lot: Lot
    quantity: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class _Part(Generic[Maker]):
    """What is due and how much of it came: of the pledge, of the leftover, and in all."""

    due: Due[Maker]
    quantity: Decimal
    pledged: Fraction
    leftover: Fraction

    @property
    def asked(self) -> Fraction:
        """What the split asks for so much."""
        if not self.quantity:
            return Fraction(0)
        leftover = Fraction(self.due.leftover_amount) * self.leftover
        return Fraction(self.due.amount) * self.pledged + leftover


def portions(
    dues: Sequence[Due[Maker]],
    came: Mapping[Any, Came],
    alone: Mapping[Maker, Alone],
    *,
    coin: Decimal,
) -> HandedOut[Maker]:
    """Hand out what came by the rules above; a portion of nothing is left out.

    Every material that is due is in `came`. Raises SplitImpossible for a coin that is none.
    """
    parts: list[_Part[Maker]] = []
    for material, arrived in came.items():
        parts += _quantities([due for due in dues if due.material == material], arrived)
    parts = [part for part in parts if part.quantity]
    paid = sum((one.paid + one.charges for one in came.values()), Fraction(0))
    coins = max(0, round(paid / Fraction(coin)))
    makers = list(dict.fromkeys(part.due.maker for part in parts))
    if not makers:
        return HandedOut((), coins * coin, True)
    weights = _weights(parts, dues, came)
    of_maker = {
        maker: [
            (part, weight)
            for part, weight in zip(parts, weights, strict=True)
            if part.due.maker == maker
        ]
        for maker in makers
    }
    asked = [sum((weight for _, weight in of_maker[maker]), Fraction(0)) for maker in makers]
    limits = [_limit([part for part, _ in of_maker[one]], came, alone[one], coin) for one in makers]
    shares, within = _within(coins, asked, limits)
    amounts = _in_coins(coins * coin, shares, coin)
    found = []
    for maker, amount in zip(makers, amounts, strict=True):
        of_parts = _in_coins(amount, [weight for _, weight in of_maker[maker]], coin)
        for (part, _), own in zip(of_maker[maker], of_parts, strict=True):
            found.append(Portion(maker, part.due.material, part.quantity, own))
    return HandedOut(tuple(found), coins * coin, within)


def from_lots(
    wanted: Sequence[Portion[Maker]], lots: Iterable[tuple[Lot, Decimal]], *, coin: Decimal
) -> list[Taken[Maker, Lot]]:
    """The portions of one material out of lots with so much in each, which hold them all.

    A lot that is exactly what somebody gets goes to that maker, as it was drawn off for it; the
    rest is taken in the order of the lots. What is paid goes with the quantities.
    """
    left = dict(lots)
    found = []
    for portion in sorted(wanted, key=lambda one: one.quantity not in left.values()):
        fitting = [lot for lot, there in left.items() if there == portion.quantity]
        taken: list[tuple[Lot, Decimal]] = []
        missing = portion.quantity
        for lot in fitting or list(left):
            quantity = min(left[lot], missing)
            if quantity:
                taken.append((lot, quantity))
                left[lot] -= quantity
                missing -= quantity
        amounts = split_exactly(portion.amount, [quantity for _, quantity in taken], step=coin)
        found += [
            Taken(portion.maker, lot, quantity, amount)
            for (lot, quantity), amount in zip(taken, amounts, strict=True)
        ]
    return found


def more_to_pay(
    wanted: Sequence[Portion[Maker]], paid: Sequence[Paid[Maker, Lot]], *, coin: Decimal
) -> list[tuple[Paid[Maker, Lot], Decimal]]:
    """What is to be paid more for portions that were handed out, or given back (below zero).

    `wanted` are the same portions, as they would have been with all that is known by now. So it
    is one whether a bill came before the hand-out or after it, in one or in several. A portion
    for which nothing changes is left out.
    """
    found = []
    for one in wanted:
        own = [row for row in paid if (row.maker, row.material) == (one.maker, one.material)]
        due = split_exactly(one.amount, [row.quantity for row in own], step=coin)
        more = ((row, amount - row.amount) for row, amount in zip(own, due, strict=True))
        found += [(row, amount) for row, amount in more if amount]
    return found


def _quantities(dues: Sequence[Due[Maker]], came: Came) -> list[_Part[Maker]]:
    """What each gets of a material: all that is due, or what there is of it."""
    pledged = sum((due.quantity for due in dues), NOTHING)
    left = sum((due.leftover for due in dues), NOTHING)
    beyond = came.handed_out - pledged
    step = PIECE if came.counted else SCALE
    if beyond >= left:
        return [_Part(due, due.quantity + due.leftover, Fraction(1), Fraction(1)) for due in dues]
    if beyond >= 0:
        more = _in_steps(beyond, [due.leftover for due in dues], step)
        part = Fraction(beyond) / Fraction(left)
        return [
            _Part(due, due.quantity + own, Fraction(1), part)
            for due, own in zip(dues, more, strict=True)
        ]
    got = _in_steps(came.handed_out, [due.quantity for due in dues], step)
    part = Fraction(came.handed_out) / Fraction(pledged)
    return [_Part(due, own, part, Fraction(0)) for due, own in zip(dues, got, strict=True)]


def _in_steps(total: Decimal, weights: Sequence[Decimal], step: Decimal) -> list[Decimal]:
    """A total by largest remainder; what is finer than a step goes with the largest weight."""
    whole = round_to_step(total, step, ROUND_FLOOR)
    found = split_exactly(whole, weights, step=step)
    found[weights.index(max(weights))] += total - whole
    return found


def _weights(
    parts: Sequence[_Part[Maker]], dues: Sequence[Due[Maker]], came: Mapping[Any, Came]
) -> list[Fraction]:
    """What each would pay for its parts were the charges those that were reckoned.

    What the split asks for a material, and what its goods cost more or less than reckoned, goes
    over its parts as the split asks for them.
    """
    found = []
    for part in parts:
        material = part.due.material
        asked = sum((one.asked for one in parts if one.due.material == material), Fraction(0))
        amounts = [d.amount + d.leftover_amount for d in dues if d.material == material]
        reckoned = sum(amounts, NOTHING) - came[material].ordered_goods
        target = max(Fraction(0), Fraction(reckoned) + came[material].paid)
        found.append(target * part.asked / asked if asked else Fraction(0))
    return found


def _limit(
    parts: Sequence[_Part[Maker]], came: Mapping[Any, Came], alone: Alone, coin: Decimal
) -> int:
    """What the parts of a maker would have cost it alone, in whole coins.

    Its own orders, with the goods in the part that came and at what they really cost; freight is
    left out of an order of which nothing came. Leftover is bought beside them at the goods' cost.
    """
    got = {part.due.material: part for part in parts}
    cost = Fraction(alone.cost)
    for order in alone.orders:
        for material, goods in order.goods.items():
            of_it = got[material].pledged * came[material].dearness if material in got else 0
            cost -= Fraction(goods) * (1 - of_it)
        if not any(material in got for material in order.goods):
            cost -= Fraction(order.freight)
    for part in parts:
        dearness = came[part.due.material].dearness
        cost += Fraction(part.due.leftover_amount) * part.leftover * dearness
    return max(0, floor(cost / Fraction(coin)))


def _within(
    coins: int, asked: Sequence[Fraction], limits: Sequence[int]
) -> tuple[list[Fraction], bool]:
    """So many coins as they are asked for, nobody above its limit; or as the limits are.

    Whoever would pay more pays its limit, and the others what is left, as they are asked for it.
    """
    if sum(limits) < coins:
        weights = limits if any(limits) else [1] * len(limits)
        return [Fraction(coins * weight, sum(weights)) for weight in weights], False
    shares = [Fraction(0)] * len(asked)
    free, left = set(range(len(asked))), Fraction(coins)
    while whole := sum((asked[one] for one in free), Fraction(0)):
        over = [one for one in free if left * asked[one] / whole > limits[one]]
        if not over:
            for one in free:
                shares[one] = left * asked[one] / whole
            return shares, True
        for one in over:
            shares[one] = Fraction(limits[one])
            left -= limits[one]
            free.remove(one)
    room = [limit - share for limit, share in zip(limits, shares, strict=True)]
    if left:
        shares = [
            share + left * free_of / sum(room) for share, free_of in zip(shares, room, strict=True)
        ]
    return shares, True


def _in_coins(total: Decimal, parts: Sequence[Fraction], coin: Decimal) -> list[Decimal]:
    """A total as the parts stand to each other, or evenly where all are nothing.

    Parts that sum to the total are each rounded down or up to the coin next to them, so that none
    comes above a whole limit.
    """
    whole = lcm(*(part.denominator for part in parts))
    weights = [Decimal(int(part * whole)) for part in parts]
    return split_exactly(total, weights if any(weights) else [PIECE] * len(parts), step=coin)
