"""Deliveries against orders: which line of an order each line of a delivery came for."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from ledger.access import Actor, find_all
from ledger.errors import (
    NotAsOrdered,
    Sentence,
)
from ledger.models import Material, OnOrder, PurchaseOrder, PurchaseOrderLine, Supplier
from ledger.order_reading import standing_of, variance_of
from ledger.ordering import order_for


@dataclass(frozen=True, slots=True)
class Against:
    """The line of an order that goods came for, how it stands, and their price variance."""

    line: PurchaseOrderLine
    standing: OnOrder
    variance: Decimal


@dataclass(frozen=True, slots=True)
class Came:
    """What is judged against an order: the line's own, what was paid, and how much it is."""

    order_line: PurchaseOrderLine | None
    goods: Decimal
    quantity: Decimal


def match(
    actor: Actor,
    *,
    order: UUID | str | None,
    supplier: Supplier,
    lines: Sequence[tuple[str | None, Material]],
) -> tuple[PurchaseOrder | None, list[PurchaseOrderLine | None]]:
    """The order of a delivery and the line of an order that each of its lines came for, if any.

    A line may be of any order that went to the supplier, but where the delivery names one it is of
    that. Raises NotFound, and NotAsOrdered for another supplier, order or material, each with its
    pointer.
    """
    found = None if order is None else order_for(actor, order, pointer="/order")
    if found is not None and found.supplier_id != supplier.id:
        raise NotAsOrdered(
            Sentence(
                "The order {number} went to {supplier}, and this came from {other}: leave the"
                " order out.",
                number=found.number,
                supplier=found.supplier.name,
                other=supplier.name,
            ),
            pointer="/order",
        )
    rows = PurchaseOrderLine.objects.select_related("order__supplier", "material")
    named = [(id, f"/lines/{place}/order_line") for place, (id, _) in enumerate(lines) if id]
    lines_named = iter(find_all(rows.filter(maker_id=actor.maker), named) if named else ())
    matched = [next(lines_named) if id else None for id, _ in lines]
    for place, (of, (_, material)) in enumerate(zip(matched, lines, strict=True)):
        if of is not None:
            _must_fit(of, found, supplier, material, f"/lines/{place}/order_line")
    return found, matched


def against(came: Sequence[Came]) -> list[Against | None]:
    """How the lines of orders stand now that this has come, in one query."""
    standing = standing_of(one.order_line.id for one in came if one.order_line is not None)
    return [_against(one, standing) for one in came]


def _against(came: Came, standing: dict[UUID, OnOrder]) -> Against | None:
    if came.order_line is None:
        return None
    now = standing[came.order_line.id]
    return Against(came.order_line, now, variance_of(now, came.goods, came.quantity))


def _must_fit(
    line: PurchaseOrderLine,
    order: PurchaseOrder | None,
    supplier: Supplier,
    material: Material,
    pointer: str,
) -> None:
    number = line.order.number
    if order is not None and line.order_id != order.id:
        raise NotAsOrdered(
            Sentence(
                "This line is of the order {number}, and the delivery names {named}: leave the"
                " delivery's order out where it brings several.",
                number=number,
                named=order.number,
            ),
            pointer=pointer,
        )
    if line.order.supplier_id != supplier.id:
        raise NotAsOrdered(
            Sentence(
                "The order {number} went to {supplier}, and this came from {other}: leave"
                " order_line out to receive it as not ordered.",
                number=number,
                supplier=line.order.supplier.name,
                other=supplier.name,
            ),
            pointer=pointer,
        )
    if line.material_id != material.id:
        raise NotAsOrdered(
            Sentence(
                "This line of the order {number} asks for {ordered}, not for {material}: name"
                " the line that it came for, or leave order_line out to receive it as not ordered.",
                number=number,
                ordered=line.material.name,
                material=material.name,
            ),
            pointer=pointer,
        )
