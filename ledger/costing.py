"""What a receipt costs on the shelf, and what a draw from the shelf costs.

Landed cost is price - discount + freight + duty + tax that is not recovered (IAS 2, paragraphs
10 and 11). A refundable deposit, and tax that the authority gives back, are receivables and
therefore never a charge here.

Cost layers answer what a draw costs by one of three formulas: by the lot that was poured,
first in first out, or moving average (IAS 2, paragraphs 23 to 27). Which lot was physically
poured is known whatever the formula says. The functions are the reference for what the
database does when it posts an entry, so they round as the database does.

Quantities are grams, or pieces for what is counted; money is in the co-op's currency.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from ledger.errors import (
    Invalid,
    MassMissing,
    MoneyNegative,
    MoneyTooFine,
    NotEnough,
    QuantityNotPositive,
    Sentence,
)
from ledger.money import minor_unit, minor_units, split_exactly

ZERO = Decimal(0)
GRAMS_PER_KG = Decimal(1000)
PLACES = 6


def round_stored(amount: Fraction) -> Decimal:
    """`amount` to the six decimals that are stored, ties away from zero.

    PostgreSQL's round(numeric) sends ties away from zero; the same rule here keeps the two
    from ever differing in the last digit. Half-even belongs to what is shown, not stored.
    """
    scaled = abs(amount) * 10**PLACES
    units = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(units if amount >= 0 else -units).scaleb(-PLACES)


def unit_cost(value: Decimal, quantity: Decimal, *, per: Decimal = Decimal(1)) -> Decimal:
    """Value of `per` units, to six decimals: `per=GRAMS_PER_KG` turns grams into a kilogram's.

    Raises QuantityNotPositive when there is no quantity to divide by.
    """
    _check_quantity(quantity)
    return round_stored(Fraction(value) / Fraction(quantity) * Fraction(per))


class ChargeKind(StrEnum):
    """What is paid on top of the goods and is part of their cost (IAS 2, paragraph 11)."""

    FREIGHT = "freight"
    DUTY = "duty"
    TAX = "tax"
    OTHER = "other"


class SpreadBy(StrEnum):
    """How a charge is spread over the lines of a receipt (common practice: stated, not guessed)."""

    MASS = "mass"
    VALUE = "value"


class Measure(StrEnum):
    """Whether a line's quantity is grams or pieces."""

    MASS = "mass"
    COUNT = "count"


@dataclass(frozen=True, slots=True)
class Charge:
    """One charge of a receipt: `amount` in the co-op's currency, at its minor unit."""

    kind: ChargeKind
    amount: Decimal
    spread_by: SpreadBy


@dataclass(frozen=True, slots=True)
class ReceivedLine:
    """One line of a receipt: `price` and `discount` are the whole line's.

    `quantity` is grams or pieces as `measured_by` says; `mass_each` is the grams of one piece,
    where it is known.
    """

    name: str
    price: Decimal
    quantity: Decimal
    measured_by: Measure = Measure.MASS
    mass_each: Decimal | None = None
    discount: Decimal = ZERO

    @property
    def goods(self) -> Decimal:
        """Price less discount."""
        return self.price - self.discount

    @property
    def grams(self) -> Decimal | None:
        """The line's mass, or None for pieces whose mass is not known."""
        if self.measured_by is Measure.MASS:
            return self.quantity
        return None if self.mass_each is None else self.quantity * self.mass_each


@dataclass(frozen=True, slots=True)
class LandedLine:
    """What a line costs on the shelf: `shares` holds its part of each charge, in their order.

    `unit_cost` is per kilogram, or for each piece, to six decimals; the other figures are
    exact to the currency's minor unit.
    """

    goods: Decimal
    shares: tuple[Decimal, ...]
    charges: Decimal
    landed_cost: Decimal
    unit_cost: Decimal


def land(
    lines: Sequence[ReceivedLine], charges: Sequence[Charge], currency: str
) -> tuple[LandedLine, ...]:
    """Landed cost of each line; together they cost exactly the goods and all charges.

    Each charge is spread by largest remainder to the minor unit of `currency`, a tie going
    to the earlier line. Raises MassMissing for a charge by mass over pieces of unknown mass,
    MoneyNegative, MoneyTooFine, QuantityNotPositive, and Invalid for a discount above the price
    or a charge with nothing to be spread over. The pointers name places in `lines` and `charges`.
    """
    for place, line in enumerate(lines):
        _check_line(line, currency, f"/lines/{place}")
    shares = [
        spread(charge, lines, currency, pointer=f"/charges/{place}")
        for place, charge in enumerate(charges)
    ]
    landed = []
    for place, line in enumerate(lines):
        own = tuple(share[place] for share in shares)
        cost = line.goods + sum(own, ZERO)
        per = GRAMS_PER_KG if line.measured_by is Measure.MASS else Decimal(1)
        landed.append(
            LandedLine(
                goods=line.goods,
                shares=own,
                charges=sum(own, ZERO),
                landed_cost=cost,
                unit_cost=unit_cost(cost, line.quantity, per=per),
            )
        )
    return tuple(landed)


def _check_line(line: ReceivedLine, currency: str, pointer: str) -> None:
    _check_quantity(line.quantity, f"{pointer}/quantity")
    _check_amount(line.price, currency, f"{pointer}/price")
    _check_amount(line.discount, currency, f"{pointer}/discount")
    if line.discount > line.price:
        raise Invalid(
            Sentence(
                "The discount on {name} is above its price: enter a credit note for the rest.",
                name=line.name,
            ),
            pointer=f"{pointer}/discount",
        )


def _check_amount(amount: Decimal, currency: str, pointer: str) -> None:
    if not amount.is_finite() or amount < 0:
        raise MoneyNegative(pointer=pointer)
    if (Fraction(amount) / Fraction(minor_unit(currency))).denominator != 1:
        raise MoneyTooFine(currency=currency, digits=minor_units(currency), pointer=pointer)


def spread(
    charge: Charge, lines: Sequence[ReceivedLine], currency: str, *, pointer: str = ""
) -> Sequence[Decimal]:
    """The share of a charge that falls on each line, by largest remainder to the minor unit.

    Raises MassMissing, MoneyNegative, MoneyTooFine, and Invalid for nothing to spread it over.
    """
    _check_amount(charge.amount, currency, f"{pointer}/amount")
    weights: list[Decimal] = []
    for line in lines:
        weight = line.grams if charge.spread_by is SpreadBy.MASS else line.goods
        if weight is None:
            raise MassMissing(name=line.name, pointer=f"{pointer}/spread_by")
        weights.append(weight)
    if charge.amount and not any(weights):
        raise Invalid(
            "These lines have no value to spread the charge over: spread it by mass.",
            pointer=f"{pointer}/spread_by",
        )
    return split_exactly(charge.amount, weights, step=minor_unit(currency))


class CostFormula(StrEnum):
    """By which rule a draw is costed; each maker chooses one per class of material."""

    LOT = "lot"
    FIFO = "fifo"
    AVERAGE = "average"


@dataclass(frozen=True, slots=True)
class Layer:
    """A quantity and what it cost, still on the shelf; `lot` is None once lots are merged."""

    lot: str | None
    quantity: Decimal
    value: Decimal

    def value_between(self, start: Decimal, end: Decimal) -> Decimal:
        """Value of the slice from `start` to `end` of this layer, both counted from its front.

        A layer's value has six decimals, as it is stored. The value up to a point is rounded,
        and a slice is the difference of two such points: slices that cover the layer sum to its
        whole value, however it is cut.
        """
        value, quantity = Fraction(self.value), Fraction(self.quantity)
        upto_end = round_stored(value * Fraction(end) / quantity)
        return upto_end - round_stored(value * Fraction(start) / quantity)


@dataclass(frozen=True, slots=True)
class Draw:
    """A quantity poured from a lot."""

    lot: str
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Piece:
    """What one draw took from one layer; `draw` is the draw's place in what was asked."""

    draw: int
    lot: str | None
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Taken:
    """The pieces of all draws of one entry, and the layers left, oldest first."""

    pieces: tuple[Piece, ...]
    layers: tuple[Layer, ...]

    @property
    def value(self) -> Decimal:
        """What all draws cost together."""
        return sum((piece.value for piece in self.pieces), ZERO)

    def value_of(self, draw: int) -> Decimal:
        """What the draw at this place cost."""
        return sum((piece.value for piece in self.pieces if piece.draw == draw), ZERO)


def merge(layers: Sequence[Layer]) -> tuple[Layer, ...]:
    """All layers as one, of no lot: what moving average draws from. No layers give none."""
    if not layers:
        return ()
    quantity = sum((layer.quantity for layer in layers), ZERO)
    value = sum((layer.value for layer in layers), ZERO)
    return (Layer(None, quantity, value),)


def put(layers: Sequence[Layer], layer: Layer, formula: CostFormula) -> tuple[Layer, ...]:
    """The layers after `layer` is received.

    Moving average (IAS 2, paragraph 27): MA' = (Q·MA + q·c) ÷ (Q + q). Kept as total quantity
    and total value, because an average that is rounded and multiplied again loses cents.
    Raises QuantityNotPositive.
    """
    _check_quantity(layer.quantity)
    joined = (*layers, layer)
    return merge(joined) if formula is CostFormula.AVERAGE else joined


def take(layers: Sequence[Layer], draws: Sequence[Draw], formula: CostFormula) -> Taken:
    """Cost the draws of one entry from `layers`, which stand in order of receipt.

    By lot: from the layers of the lot poured, oldest first. FIFO: from the oldest layer on,
    whatever lot was poured. Moving average: from all layers merged. A draw that takes all
    that is left takes all its value. Raises NotEnough, saying what was wanted and what is
    there, and QuantityNotPositive.
    """
    pool = merge(layers) if formula is CostFormula.AVERAGE else tuple(layers)
    used = [ZERO] * len(pool)
    pieces: list[Piece] = []
    for place, draw in enumerate(draws):
        _check_quantity(draw.quantity)
        wanted = draw.quantity
        for depth, layer in enumerate(pool):
            if formula is CostFormula.LOT and layer.lot != draw.lot:
                continue
            part = min(wanted, layer.quantity - used[depth])
            if part <= 0:
                continue
            value = layer.value_between(used[depth], used[depth] + part)
            pieces.append(Piece(place, layer.lot, part, value))
            used[depth] += part
            wanted -= part
        if wanted > 0:
            there = draw.quantity - wanted
            raise NotEnough(
                Sentence(
                    "{quantity:f} is wanted and only {left:f} is there: take less, or receive"
                    " more.",
                    quantity=draw.quantity.normalize(),
                    left=there.normalize(),
                ),
                lot=draw.lot,
                wanted=draw.quantity,
                available=there,
            )
    left = tuple(
        Layer(layer.lot, layer.quantity - gone, layer.value_between(gone, layer.quantity))
        for layer, gone in zip(pool, used, strict=True)
        if gone < layer.quantity
    )
    return Taken(tuple(pieces), left)


def _check_quantity(quantity: Decimal, pointer: str = "") -> None:
    if not (quantity.is_finite() and quantity > 0):
        raise QuantityNotPositive(pointer=pointer)
