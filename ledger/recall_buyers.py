"""What each buyer had of a recalled lot, what came back, and who was told. Pure."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from ledger.recall_tallies import Count, percent_back
from ledger.recalling import RecallList

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Said:
    """One contact: with whom, on what day, whether they answered, and what became of goods."""

    customer: str
    on: date
    answered: bool
    lot_id: UUID | None
    outcome: str
    quantity: Decimal

    @classmethod
    def of(cls, row: Any) -> "Said":
        """A contact as its row keeps it."""
        quantity = row.quantity or ZERO
        return cls(row.customer, row.contacted_on, row.answered, row.lot_id, row.outcome, quantity)


@dataclass(frozen=True, slots=True)
class Line:
    """So much of a lot sold to a buyer, and what became of it."""

    lot_id: UUID
    code: str
    counted: bool
    sold: Decimal
    returned: Decimal
    destroyed: Decimal
    used_up: Decimal

    @property
    def left(self) -> Decimal:
        """What the buyer has for all that is known."""
        return self.sold - self.returned - self.destroyed - self.used_up


@dataclass(frozen=True, slots=True)
class Buyer:
    """A direct account: a customer, or a shop with goods on consignment (`at_shop`)."""

    customer: str
    lines: tuple[Line, ...]
    at_shop: Count
    contacts: int
    last_contact_on: date | None
    answered: bool

    def total(self, what: str, *, counted: bool) -> Decimal:
        """One figure of the lines, of pieces or of grams."""
        return sum((getattr(one, what) for one in self.lines if one.counted is counted), ZERO)


@dataclass(frozen=True, slots=True)
class Sales:
    """What all buyers together had of pieces or of grams, and what became of it."""

    counted: bool
    sold: Decimal
    returned: Decimal
    destroyed: Decimal
    used_up: Decimal
    left: Decimal

    @property
    def percent_back(self) -> Decimal | None:
        """What came back of it, in percent to one decimal."""
        return percent_back(self.returned, self.sold)


def sales_of(buyers: Sequence[Buyer]) -> list[Sales]:
    """The sales of pieces and those of grams, which are never added to each other."""
    names = ("sold", "returned", "destroyed", "used_up", "left")
    sums = [
        Sales(
            counted,
            *(sum((b.total(name, counted=counted) for b in buyers), ZERO) for name in names),
        )
        for counted in (True, False)
    ]
    return [one for one in sums if one.sold]


def buyers_of(listed: RecallList, said: Sequence[Said]) -> list[Buyer]:
    """Everybody who was sold some of it or has some on consignment, by reference."""
    lots = {lot.id: lot for lot in listed.lots}
    lines: dict[str, list[Line]] = defaultdict(list)
    told: dict[tuple[str, UUID | None, str], Decimal] = defaultdict(Decimal)
    contacts: dict[str, list[Said]] = defaultdict(list)
    for one in said:
        told[one.customer, one.lot_id, one.outcome] += one.quantity
        contacts[one.customer].append(one)
    for sale in listed.accounts:
        lot = lots[sale.lot_id]
        destroyed, used_up = (
            told[sale.customer, lot.id, what] for what in ("destroyed", "used_up")
        )
        line = Line(lot.id, lot.code, lot.counted, sale.sold, sale.returned, destroyed, used_up)
        lines[sale.customer].append(line)
    at_shop: dict[str, Count] = defaultdict(Count)
    for lot in listed.lots:
        for place in lot.places:
            if place.kind == "consignment":
                before = at_shop[place.account]
                at_shop[place.account] = before.plus(place.quantity, counted=lot.counted)
    return [
        Buyer(
            name,
            tuple(lines[name]),
            at_shop[name],
            len(contacts[name]),
            max((one.on for one in contacts[name]), default=None),
            any(one.answered for one in contacts[name]),
        )
        for name in sorted({*lines, *at_shop})
    ]
