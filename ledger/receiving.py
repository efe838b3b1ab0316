"""Receiving: a delivery becomes lots on the shelf, at what they cost there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from ledger.access import Actor, day_of, find, materials_for, supplier_for
from ledger.costing import Charge, LandedLine, ReceivedLine, land
from ledger.costing import Measure as By
from ledger.entries import Move, Posted, account, explained, open_account, post_entry
from ledger.errors import placed
from ledger.ids import new_id
from ledger.lots import NewLot, must_be_stocked, open_lots
from ledger.measuring import Measured, measure
from ledger.models import (
    Account,
    ChargeShare,
    Custody,
    Entry,
    Lot,
    Material,
    PurchaseOrderLine,
    Receipt,
    ReceiptCharge,
    ReceiptLine,
    Supplier,
)
from ledger.order_matching import Against, Came, against, match
from ledger.places import New, places_named, put_new
from ledger.quantities import Density, Quantity
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Delivered:
    """One line of a delivery as the maker reads it off the note; `price` is the line's total.

    `order_line` is what it was ordered by; without one it was not ordered. `place` is where it is
    put, if that is known.
    """

    material: str
    supplier_lot: str
    quantity: Quantity
    price: Decimal
    discount: Decimal = Decimal(0)
    expires_on: date | None = None
    retest_on: date | None = None
    density: Density | None = None
    order_line: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Received:
    """A receipt that stands, line by line in the order of the delivery."""

    receipt: Receipt
    entry_id: UUID
    lots: Sequence[Lot]
    measured: Sequence[Measured]
    landed: Sequence[LandedLine]
    released: bool
    against: Sequence[Against | None]


@dataclass(frozen=True, slots=True)
class Worked:
    """What a delivery comes to, line by line, before anything is written."""

    materials: Sequence[Material]
    measured: Sequence[Measured]
    landed: Sequence[LandedLine]


def receive(
    actor: Actor,
    *,
    supplier: UUID | str,
    lines: Sequence[Delivered],
    charges: Sequence[Charge],
    happened_at: datetime,
    release_basis: str | None = None,
    reference: str = "",
    condition: str = "",
    order: UUID | str | None = None,
) -> Received:
    """Receive a delivery: open a lot a line, in quarantine unless released, at landed cost.

    Landed cost is price - discount + freight + duty + tax that is not recovered (IAS 2.10-11).
    What it brings of an order is still to come no more; more than was ordered is received, too.
    Raises NotFound, DensityMissing, MassMissing, NotAsOrdered, Invalid, PlaceKeepsOther,
    PlaceRetired, each with its pointer; nothing is written then.
    """
    actor.must(Verb.RECEIVE)
    seller = supplier_for(actor, supplier, pointer="/supplier")
    worked = work_out(actor, lines, charges)
    materials, measured, landed = worked.materials, worked.measured, worked.landed
    asked = [(line.order_line, of) for line, of in zip(lines, materials, strict=True)]
    ordered, matched = match(actor, order=order, supplier=seller, lines=asked)
    day = day_of(actor, happened_at)
    new = [_new_lot(*line, seller, day) for line in zip(lines, materials, strict=True)]
    lots = open_lots(actor, new, release_basis=release_basis)
    _put(actor, lines, lots, released=release_basis is not None)
    posted = _post(actor, seller, lots, measured, landed, happened_at, reference)
    receipt = Receipt(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        entry_id=posted.entry_id,
        supplier=seller,
        order=ordered,
        happened_at=happened_at,
        reference=reference,
        condition=condition,
        total=sum((line.landed_cost for line in landed), Decimal(0)),
    )
    with explained():
        receipt.save(force_insert=True)
        kept = _keep_lines(actor, receipt, lots, measured, landed, matched)
    _keep_charges(actor, receipt, kept, landed, charges)
    released, stands = release_basis is not None, _against(kept)
    return Received(receipt, posted.entry_id, lots, measured, landed, released, stands)


def work_out(actor: Actor, lines: Sequence[Delivered], charges: Sequence[Charge]) -> Worked:
    """What the lines are in grams or pieces, and what each will cost on the shelf.

    Nothing is written. Raises NotFound, DensityMissing, MassMissing, Invalid, with their pointers.
    """
    materials = materials_for(
        actor, [(line.material, f"/lines/{n}/material") for n, line in enumerate(lines)]
    )
    measured = [_measure(place, line, materials[place]) for place, line in enumerate(lines)]
    landed = land(
        [_costed(*line) for line in zip(lines, materials, measured, strict=True)],
        charges,
        actor.currency,
    )
    return Worked(materials, measured, landed)


@dataclass(frozen=True, slots=True)
class Kept:
    """A receipt as it was kept: its lines with their shares of the charges, and lots' statuses.

    `against` are the lines of orders that its lines came for, as they stand now.
    """

    receipt: Receipt
    lines: Sequence[ReceiptLine]
    charges: Sequence[ReceiptCharge]
    statuses: Mapping[UUID, str]
    against: Sequence[Against | None]


def receipts_of(actor: Actor) -> "QuerySet[Receipt]":
    """The maker's deliveries, which say what things cost. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    return Receipt.objects.filter(maker_id=actor.maker)


def deliveries_of(actor: Actor) -> "QuerySet[Receipt]":
    """The maker's deliveries with their suppliers, the latest first; `undone` if taken back."""
    back = Entry.objects.filter(coop_id=OuterRef("coop_id"), reverses_id=OuterRef("entry_id"))
    rows = receipts_of(actor).select_related("supplier").annotate(undone=Exists(back))
    return rows.order_by("-happened_at", "-id")


def noted_before(actor: Actor, receipt: Receipt) -> Receipt | None:
    """The latest other delivery of the supplier with the same note that stands: mostly the same
    one, kept twice. None where no note is named. Raises Forbidden."""
    actor.must(Verb.RECEIVE)
    if not receipt.reference:
        return None
    back = Entry.objects.filter(coop_id=actor.coop_id, reverses_id=OuterRef("entry_id"))
    same = Receipt.objects.filter(
        ~Exists(back),
        maker_id=actor.maker,
        supplier_id=receipt.supplier_id,
        reference__iexact=receipt.reference,
    )
    return same.exclude(id=receipt.id).order_by("-happened_at", "-id").first()


def is_undone(actor: Actor, receipt: Receipt) -> bool:
    """Whether a delivery was taken back."""
    back = Entry.objects.filter(coop_id=actor.coop_id, reverses_id=receipt.entry_id)
    return back.exists()


def receipt_for(actor: Actor, id: UUID | str) -> Kept:
    """A delivery with its working, in a fixed number of queries. Raises NotFound, Forbidden."""
    receipt = find(receipts_of(actor).select_related("supplier"), id)
    lines = receipt.lines.select_related("lot__material", "order_line__order")
    shares = Prefetch("shares", ChargeShare.objects.select_related("charge"))
    found = list(lines.prefetch_related(shares).order_by("position"))
    custodies = Custody.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=[line.lot_id for line in found]
    )
    statuses = dict(custodies.values_list("lot_id", "status"))
    charges = list(receipt.charges.order_by("position"))
    return Kept(receipt, found, charges, statuses, _against(found))


def _post(
    actor: Actor,
    seller: Supplier,
    lots: Sequence[Lot],
    measured: Sequence[Measured],
    landed: Sequence[LandedLine],
    happened_at: datetime,
    reference: str,
) -> Posted:
    """Move the goods from the supplier's account to the store, at landed cost."""
    label = f"supplier {seller.id}"
    source = open_account(actor, Account.Kind.SUPPLIER, str(seller.id), label=label)
    store = account(actor, Account.Kind.STORE, "store")
    return post_entry(
        actor,
        kind=Entry.Kind.RECEIPT,
        happened_at=happened_at,
        moves=[
            Move(source, store, lot.id, amount.quantity, cost.landed_cost)
            for lot, amount, cost in zip(lots, measured, landed, strict=True)
        ],
        reason=reference,
    )


def _put(actor: Actor, lines: Sequence[Delivered], lots: Sequence[Lot], *, released: bool) -> None:
    """Put each lot where its line says that it goes."""
    where = [(line.place, f"/lines/{n}/place") for n, line in enumerate(lines)]
    found = zip(lots, places_named(actor, where), where, strict=True)
    put_new(actor, [New(lot, released, to, pointer) for lot, to, (_, pointer) in found if to])


def _measure(place: int, line: Delivered, material: Material) -> Measured:
    must_be_stocked(material, f"/lines/{place}/material")
    with placed(f"/lines/{place}/quantity"):
        return measure(line.quantity, material, line.density)


def _costed(line: Delivered, material: Material, measured: Measured) -> ReceivedLine:
    return ReceivedLine(
        name=material.name,
        price=line.price,
        quantity=measured.quantity,
        measured_by=By.COUNT if measured.counted else By.MASS,
        mass_each=material.mass_each,
        discount=line.discount,
    )


def _new_lot(line: Delivered, material: Material, supplier: Supplier, day: date) -> NewLot:
    return NewLot(
        material=material,
        arrived_on=day,
        supplier_id=supplier.id,
        supplier_lot=line.supplier_lot,
        expires_on=line.expires_on,
        retest_on=line.retest_on,
        density=line.density,
    )


def _against(lines: Sequence[ReceiptLine]) -> list[Against | None]:
    return against([Came(line.order_line, line.goods, line.quantity) for line in lines])


def _keep_lines(
    actor: Actor,
    receipt: Receipt,
    lots: Sequence[Lot],
    measured: Sequence[Measured],
    landed: Sequence[LandedLine],
    matched: Sequence[PurchaseOrderLine | None],
) -> list[ReceiptLine]:
    """Keep what was typed, what it cost, and what it was ordered by."""
    rows = zip(lots, measured, landed, matched, strict=True)
    return ReceiptLine.objects.bulk_create(
        ReceiptLine(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            id=new_id(),
            receipt=receipt,
            position=place,
            lot=lot,
            order_line=of,
            entered=amount.entered,
            quantity=amount.quantity,
            density=amount.density and amount.density.grams_per_millilitre,
            density_at=amount.density and amount.density.celsius,
            density_of=amount.density_of,
            goods=cost.goods,
            landed_cost=cost.landed_cost,
        )
        for place, (lot, amount, cost, of) in enumerate(rows)
    )


def _keep_charges(
    actor: Actor,
    receipt: Receipt,
    lines: Sequence[ReceiptLine],
    landed: Sequence[LandedLine],
    charges: Sequence[Charge],
) -> None:
    """Keep how the cost came about, so that every figure opens to it."""
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    kept = [
        ReceiptCharge(
            **own,
            id=new_id(),
            receipt=receipt,
            position=place,
            kind=charge.kind,
            amount=charge.amount,
            spread_by=charge.spread_by,
        )
        for place, charge in enumerate(charges)
    ]
    ReceiptCharge.objects.bulk_create(kept)
    ChargeShare.objects.bulk_create(
        ChargeShare(**own, line=line, charge=charge, amount=share)
        for line, cost in zip(lines, landed, strict=True)
        for charge, share in zip(kept, cost.shares, strict=True)
    )
