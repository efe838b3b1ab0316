"""Orders as they stand: each line with its corrections, what came of it, and what is to come."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from ledger.access import Actor
from ledger.models import (
    Entry,
    OnOrder,
    PurchaseOrder,
    PurchaseOrderFact,
    PurchaseOrderLine,
    ReceiptLine,
)
from ledger.order_prices import agreed_price, price_variance
from ledger.roles import Verb

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class OrdersWanted:
    """Which orders to list; empty means all. `state` is open, closed or late."""

    state: str | None = None
    supplier: UUID | None = None
    material: UUID | None = None


@dataclass(frozen=True, slots=True)
class Arrival:
    """What came of a line in one delivery that stands; `variance` is of its price."""

    line: ReceiptLine
    variance: Decimal


@dataclass(frozen=True, slots=True)
class LineTold:
    """A line as it was last said to be (`now`), how it stands, and what came of it."""

    line: PurchaseOrderLine
    now: PurchaseOrderLine | PurchaseOrderFact
    standing: OnOrder
    arrivals: Sequence[Arrival]

    @property
    def variance(self) -> Decimal | None:
        """The price variance of all that came; None where nothing has."""
        amounts = [one.variance for one in self.arrivals]
        return sum(amounts, ZERO) if amounts else None

    @property
    def whole(self) -> bool:
        """Whether all that was ordered has come."""
        return bool(self.standing.received >= self.standing.ordered)

    def late(self, today: date) -> bool:
        """Whether some is still to come, and the day on which it was expected is past."""
        day = self.standing.expected_on
        return self.standing.any_left and day is not None and day < today


@dataclass(frozen=True, slots=True)
class OrderTold:
    """An order with its lines, its later facts in the order in which they were told, and what came
    with its deliveries without having been ordered."""

    order: PurchaseOrder
    lines: Sequence[LineTold]
    facts: Sequence[PurchaseOrderFact]
    not_ordered: Sequence[ReceiptLine]

    @property
    def materials(self) -> Sequence[str]:
        """What is ordered, by name; of several packs of one material once."""
        return list(dict.fromkeys(line.line.material.name for line in self.lines))

    @property
    def open(self) -> bool:
        return any(line.standing.any_left for line in self.lines)

    @property
    def total(self) -> Decimal:
        """What was agreed for all of it, as corrected."""
        return sum((line.standing.price for line in self.lines), ZERO)


def orders_of(
    actor: Actor, wanted: OrdersWanted = OrdersWanted(), *, today: date
) -> "QuerySet[PurchaseOrder]":
    """The maker's orders with their suppliers. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = PurchaseOrder.objects.select_related("supplier").filter(maker_id=actor.maker)
    if wanted.supplier is not None:
        rows = rows.filter(supplier=wanted.supplier)
    standing = OnOrder.objects.filter(maker_id=actor.maker, order=OuterRef("id"))
    if wanted.material is not None:
        rows = rows.filter(Exists(standing.filter(material=wanted.material)))
    left = standing.filter(any_left=True)
    if wanted.state == "late":
        rows = rows.filter(Exists(left.filter(expected_on__lt=today)))
    elif wanted.state is not None:
        rows = rows.filter(Exists(left) if wanted.state == "open" else ~Exists(left))
    return rows


def told(orders: Iterable[PurchaseOrder]) -> list[OrderTold]:
    """The orders with all that is known of them, in a fixed number of queries."""
    rows = list(orders)
    ids = [row.id for row in rows]
    facts: dict[UUID, list[PurchaseOrderFact]] = defaultdict(list)
    for fact in PurchaseOrderFact.objects.filter(order__in=ids).order_by("id"):
        facts[fact.order_id].append(fact)
    lines: dict[UUID, list[PurchaseOrderLine]] = defaultdict(list)
    of_them = PurchaseOrderLine.objects.select_related("material").filter(order__in=ids)
    for line in of_them.order_by("position"):
        lines[line.order_id].append(line)
    standing = {row.line_id: row for row in OnOrder.objects.filter(order__in=ids)}
    arrived = _arrived([line.id for some in lines.values() for line in some])
    beside: dict[UUID | None, list[ReceiptLine]] = defaultdict(list)
    for came in _standing_lines().filter(receipt__order__in=ids, order_line=None):
        beside[came.receipt.order_id].append(came)
    return [
        OrderTold(
            row,
            [_told(one, facts[row.id], standing[one.id], arrived[one.id]) for one in lines[row.id]],
            facts[row.id],
            beside[row.id],
        )
        for row in rows
    ]


def over(standing: OnOrder) -> Decimal:
    """How much more came than was ordered."""
    beyond: Decimal = standing.received - standing.ordered
    return max(beyond, ZERO)


def standing_of(lines: Iterable[UUID]) -> dict[UUID, OnOrder]:
    """How lines of orders stand, by the line's id."""
    return {row.line_id: row for row in OnOrder.objects.filter(line__in=list(lines))}


def variance_of(standing: OnOrder, goods: Decimal, quantity: Decimal) -> Decimal:
    """The price variance of so much of a line at what was paid, by what is agreed for it now."""
    return price_variance(goods, agreed_price(standing.price, standing.ordered, quantity))


def _told(
    line: PurchaseOrderLine,
    facts: Sequence[PurchaseOrderFact],
    standing: OnOrder,
    arrived: Sequence[ReceiptLine],
) -> LineTold:
    arrivals = [Arrival(one, variance_of(standing, one.goods, one.quantity)) for one in arrived]
    return LineTold(line, terms_of(line, facts), standing, arrivals)


def terms_of(
    line: PurchaseOrderLine, facts: Sequence[PurchaseOrderFact]
) -> PurchaseOrderLine | PurchaseOrderFact:
    """A line as it was last said to be: the latest correction of it, or the line itself."""
    kind = PurchaseOrderFact.Kind.CORRECTED
    corrections = [fact for fact in facts if fact.kind == kind and fact.line_id == line.id]
    return corrections[-1] if corrections else line


def _arrived(lines: Sequence[UUID]) -> dict[UUID, list[ReceiptLine]]:
    """What came of the lines, the earliest first."""
    found: dict[UUID, list[ReceiptLine]] = defaultdict(list)
    for row in _standing_lines().filter(order_line__in=lines):
        if row.order_line_id is not None:
            found[row.order_line_id].append(row)
    return found


def _standing_lines() -> "QuerySet[ReceiptLine]":
    """Lines of deliveries that were not undone, the earliest first."""
    undone = Entry.objects.filter(
        coop_id=OuterRef("coop_id"), reverses_id=OuterRef("receipt__entry_id")
    )
    rows = ReceiptLine.objects.select_related("receipt", "lot__material").filter(~Exists(undone))
    return rows.order_by("receipt__happened_at", "id")
