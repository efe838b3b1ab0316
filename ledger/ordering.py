"""Orders from suppliers: written, corrected, sent, and ended.

An order is a list of dated facts and not a chain of states: what was written stays, and what came
after stands beside it. What of it is still to come counts in the position of its materials.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db.models import QuerySet

from ledger import outbox
from ledger.access import Actor, day_of, find, materials_for, supplier_for
from ledger.alerts import enqueue_checks
from ledger.entries import explained, lock_pools
from ledger.errors import (
    Conflict,
    Invalid,
    MoneyTooFine,
    QuantityTooLarge,
    Sentence,
    placed,
)
from ledger.ids import new_id
from ledger.lots import must_be_stocked
from ledger.measuring import Measured, measure
from ledger.models import (
    Material,
    OnOrder,
    PurchaseOrder,
    PurchaseOrderFact,
    PurchaseOrderLine,
)
from ledger.models.base import FINITE
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.statements import run

Kind = PurchaseOrderFact.Kind
MAIL_ORDER: Final = "mail_order"
NUMBER: Final = """
update ledger_maker set orders_numbered = orders_numbered + 1
 where coop_id = %s and id = %s returning mark, orders_numbered
"""


@dataclass(frozen=True, slots=True)
class Ordered:
    """One line of an order: so many packs, and the price that was agreed for all of them."""

    material: str
    pack: Quantity
    price: Decimal
    packs: int = 1
    expected_on: date | None = None


@dataclass(frozen=True, slots=True)
class Changes:
    """What of a line is corrected; None leaves it. No longer a day at all is `undated`."""

    packs: int | None = None
    pack: Quantity | None = None
    price: Decimal | None = None
    expected_on: date | None = None
    undated: bool = False


def write_order(
    actor: Actor,
    *,
    supplier: UUID | str,
    lines: Sequence[Ordered],
    happened_at: datetime,
    note: str = "",
) -> PurchaseOrder:
    """Write an order; from now on it counts as on order.

    Raises NotFound, Forbidden, DensityMissing and what else reading a quantity raises,
    MoneyTooFine, and Invalid for what is not stocked or a day before the order's, each with its
    pointer.
    """
    actor.must(Verb.ORDER)
    seller = supplier_for(actor, supplier, pointer="/supplier")
    wanted = [(line.material, f"/lines/{place}/material") for place, line in enumerate(lines)]
    materials = materials_for(actor, wanted)
    day = day_of(actor, happened_at)
    kept = []
    for place, (line, material) in enumerate(zip(lines, materials, strict=True)):
        with placed(f"/lines/{place}"):
            kept.append(_columns(actor, line, material, day))
    order = PurchaseOrder(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        # Before the pools, as whoever receives does it: a ring of locks needs two orders of them.
        number=_next_number(actor),
        supplier=seller,
        written_at=happened_at,
        note=note,
        person_id=actor.person_id,
    )
    lock_pools(material.id for material in materials)
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker, "order": order}
    with explained():
        order.save(force_insert=True)
        PurchaseOrderLine.objects.bulk_create(
            PurchaseOrderLine(**own, **columns, id=new_id(), position=place)
            for place, columns in enumerate(kept)
        )
    enqueue_checks(actor, [material.id for material in materials])
    return order


def correct_line(
    actor: Actor,
    *,
    order: UUID | str,
    line: UUID | str,
    changes: Changes,
    reason: str,
    happened_at: datetime,
) -> PurchaseOrderFact:
    """Say what holds of a line from now on, and why; what was written stays as it was.

    A line that had ended is expected again by it. Raises NotFound, Forbidden, and Invalid for a
    quantity without the price of it, for nothing that changes, and for a day before the order's.
    """
    actor.must(Verb.ORDER)
    found = order_for(actor, order)
    of = find(_lines(found), line, pointer="/order_line")
    _must_come_after(found, happened_at)
    if changes == Changes():
        raise Invalid("Say what is to change: packs, pack, price or expected_on.")
    resized = changes.packs is not None or changes.pack is not None
    if resized and changes.price is None:
        raise Invalid(
            "The price is of the whole line: give the one of its new quantity.", pointer="/price"
        )
    lock_pools([of.material_id])
    last = found.facts.filter(kind=Kind.CORRECTED, line=of).order_by("-id").first()
    columns = _corrected(actor, last or of, of.material, changes, day_of(actor, found.written_at))
    fact = _fact(actor, found, Kind.CORRECTED, happened_at, line=of, reason=reason, **columns)
    enqueue_checks(actor, [of.material_id])
    return fact


def end_order(
    actor: Actor,
    *,
    order: UUID | str,
    reason: str,
    happened_at: datetime,
    line: UUID | str | None = None,
) -> PurchaseOrderFact:
    """Say that nothing more is expected of an order, or of one of its lines, and why.

    What comes all the same is still received against it. Raises NotFound, Forbidden, Invalid for a
    day before the order's, and Conflict where nothing is open.
    """
    actor.must(Verb.ORDER)
    found = order_for(actor, order)
    of = None if line is None else find(_lines(found), line, pointer="/order_line")
    _must_come_after(found, happened_at)
    concerned = list(_lines(found)) if of is None else [of]
    materials = [one.material_id for one in concerned]
    lock_pools(materials)
    standing = OnOrder.objects.filter(order=found, line__in=concerned)
    if not standing.filter(any_left=True).exists():
        raise Conflict("Nothing of this is open: it has come, or has ended already.")
    fact = _fact(actor, found, Kind.ENDED, happened_at, line=of, reason=reason)
    enqueue_checks(actor, materials)
    return fact


def send_order(
    actor: Actor, *, order: UUID | str, happened_at: datetime, note: str = ""
) -> PurchaseOrderFact:
    """Ask to mail an order to its supplier as it now stands; asked again, it is mailed again.

    The mail goes out after the commit. Raises NotFound, Forbidden, Invalid for a day before the
    order's, and Conflict for a supplier without a mail address.
    """
    actor.must(Verb.ORDER)
    found = order_for(actor, order)
    _must_come_after(found, happened_at)
    address = found.supplier.mail
    if not address:
        raise Conflict(
            Sentence(
                "No mail address of {supplier} is known: add it to the supplier, or print the"
                " order's sheet and send it yourself.",
                supplier=found.supplier.name,
            )
        )
    fact = _fact(actor, found, Kind.SENDING, happened_at, reason=note, address=address)
    outbox.owe(actor.coop_id, actor.maker, MAIL_ORDER, [fact.id])
    return fact


def keep_sent(sending: PurchaseOrderFact, *, now: datetime) -> None:
    """The mail of a sending was handed over. Said twice, it is kept once."""
    PurchaseOrderFact.objects.bulk_create(
        [
            PurchaseOrderFact(
                coop_id=sending.coop_id,
                maker_id=sending.maker_id,
                order_id=sending.order_id,
                kind=Kind.SENT,
                of=sending,
                happened_at=now,
                address=sending.address,
                person_id=sending.person_id,
            )
        ],
        ignore_conflicts=True,
    )


def order_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> PurchaseOrder:
    """One of the maker's orders with its supplier. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    rows = PurchaseOrder.objects.select_related("supplier").filter(maker_id=actor.maker)
    return find(rows, id, pointer=pointer)


def _lines(order: PurchaseOrder) -> "QuerySet[PurchaseOrderLine]":
    return order.lines.select_related("material")


def _next_number(actor: Actor) -> str:
    """A number to say on the phone: the maker's mark, P for purchase, and a running number."""
    mark, number = run(NUMBER, [actor.coop_id, actor.maker]).fetchone()
    return f"{mark}-P{number}"


def _must_come_after(order: PurchaseOrder, happened_at: datetime) -> None:
    if happened_at < order.written_at:
        raise Invalid(
            "This lies before the order was written; give a later moment.",
            pointer="/happened_at",
        )


def _columns(actor: Actor, line: Ordered, material: Material, day: date) -> dict[str, Any]:
    must_be_stocked(material, "/material")
    return {
        "material": material,
        "price": _price(actor, line.price),
        "expected_on": _expected(line.expected_on, day),
        **_quantity(line.pack, line.packs, material),
    }


def _corrected(
    actor: Actor,
    kept: PurchaseOrderLine | PurchaseOrderFact,
    material: Material,
    changes: Changes,
    day: date,
) -> dict[str, Any]:
    """The line as it was with the changes; `kept` is its last correction, or the line itself."""
    names = ("packs", "entered", "quantity", "density", "density_at", "density_of", "price")
    columns: dict[str, Any] = {name: getattr(kept, name) for name in names}
    packs = changes.packs or columns["packs"]
    if changes.pack is not None:
        columns |= _quantity(changes.pack, packs, material)
    elif changes.packs is not None:
        columns["quantity"] = _times(columns["quantity"] / columns["packs"], packs)
        columns["packs"] = packs
    if changes.price is not None:
        columns["price"] = _price(actor, changes.price)
    columns["expected_on"] = None if changes.undated else kept.expected_on
    if changes.expected_on is not None:
        columns["expected_on"] = _expected(changes.expected_on, day)
    return columns


def _quantity(pack: Quantity, packs: int, material: Material) -> dict[str, Any]:
    """The columns of so many packs."""
    with placed("/pack"):
        one: Measured = measure(pack, material)
        quantity = _times(one.quantity, packs)
    return {
        "packs": packs,
        "entered": one.entered,
        "quantity": quantity,
        "density": one.density and one.density.grams_per_millilitre,
        "density_at": one.density and one.density.celsius,
        "density_of": one.density_of,
    }


def _times(quantity: Decimal, packs: int) -> Decimal:
    if quantity * packs >= FINITE:
        raise QuantityTooLarge
    return quantity * packs


def _price(actor: Actor, price: Decimal) -> Decimal:
    if price != round_money(price, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer="/price")
    return price


def _expected(expected_on: date | None, day: date) -> date | None:
    if expected_on is not None and expected_on < day:
        raise Invalid(
            Sentence("This day lies before the order was written on {day}.", day=day),
            pointer="/expected_on",
        )
    return expected_on


def _fact(
    actor: Actor, order: PurchaseOrder, kind: str, happened_at: datetime, **columns: Any
) -> PurchaseOrderFact:
    with explained():
        return PurchaseOrderFact.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            order=order,
            kind=kind,
            happened_at=happened_at,
            person_id=actor.person_id,
            **columns,
        )
