"""Decanting: a drum is drawn off into lots of their own, and its cost goes with what was drawn.

Each child lot is what the drum was: supplier, supplier lot, dates, density, status and papers (ISO
22716 6.6.5: what is repacked keeps its labelling, from memory). A trace follows through, as the
draws go through making.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet

from ledger.access import Actor, find, find_all, lot_for
from ledger.amounts import Amount
from ledger.drum_split import DrumSplit, Part, settle_drum, split_drum
from ledger.entries import Move, account, lock_pools, open_account, post_entry
from ledger.errors import (
    Invalid,
    LotNotReleased,
    NotEnough,
    QuantityNotPositive,
    Sentence,
    placed,
)
from ledger.ids import new_id, same_id
from ledger.lots import (
    NewLot,
    custody_of,
    hold_lot_numbers,
    inherit_status,
    must_be_stocked,
    open_lots,
)
from ledger.measuring import Measured, density_of, measure
from ledger.models import (
    Account,
    Custody,
    Decanting,
    DecantingDraw,
    Entry,
    Holding,
    Lot,
    Status,
    Transfer,
)
from ledger.opened_lots import open_with
from ledger.quantities import Quantity, kept_in, parse_quantity
from ledger.roles import Verb
from ledger.settling import record_payment
from ledger.store_costs import StoreDraw, at_cost
from ledger.transferring import makers_of_coop, offer_transfer

ZERO: Final = Decimal(0)
# A lot's papers are evidence that goes with it; each child lot has them itself.
_PAPERS: Final = """
insert into ledger_document (coop_id, maker_id, id, lot_id, kind, note, name, content_type, size,
                             sha256, content, person_id, recorded_at)
select d.coop_id, %(maker)s, uuidv7(), c.lot, d.kind, d.note, d.name, d.content_type, d.size,
       d.sha256, d.content, d.person_id, d.recorded_at
  from ledger_document d cross join unnest(%(lots)s::uuid[]) c(lot)
  where d.coop_id = %(coop)s and d.lot_id = %(lot)s order by c.lot, d.id
"""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One draw as it was read: net, or gross and tare; and the maker it is for, if another."""

    net: Quantity | None = None
    gross: Quantity | None = None
    tare: Quantity | None = None
    maker: UUID | str | None = None


@dataclass(frozen=True, slots=True)
class PaidByOther:
    """Part of the drum's cost that another maker paid, and what that was, such as the freight."""

    maker: UUID | str
    amount: Decimal
    note: str


@dataclass(frozen=True, slots=True)
class Decanted:
    """A decanting that stands; `parts` say who receives or pays what, the holder first."""

    decanting: Decanting
    split: DrumSplit
    parts: list[Part[UUID]]


@dataclass(frozen=True, slots=True)
class _Read:
    """A draw in grams or pieces, and what was read off the scale."""

    net: Measured
    gross: Decimal | None = None
    tare: Decimal | None = None


def decant(
    actor: Actor,
    *,
    lot: UUID | str,
    draws: Sequence[Drawn],
    happened_at: datetime,
    emptied: bool = True,
    paid: Sequence[PaidByOther] = (),
    note: str = "",
) -> Decanted:
    """Draw a lot off into child lots; `emptied`, what is not drawn stays behind as its heel.

    The cost of all that leaves the lot is carried by what was drawn. A draw for another maker is
    offered to it at its share of the cost; what others `paid` of that cost is owed to them. Raises
    NotFound, Forbidden, NotEnough for more than is there or free, LotNotReleased for a lot on hold
    or rejected, DensityMissing, Invalid.
    """
    actor.must(Verb.RECEIVE)
    found = lot_for(actor, lot)
    _check_makers(actor, draws, paid)
    must_be_stocked(found.material, "")
    read = [_read(found, draw, f"/draws/{place}") for place, draw in enumerate(draws)]
    status = _drawable(actor, found)
    hold_lot_numbers(actor)
    lock_pools([found.material_id])
    amounts = [one.net.quantity for one in read]
    drawn = sum(amounts, ZERO)
    heel = _left(actor, found, drawn) if emptied else ZERO
    costed = at_cost(actor, [StoreDraw(found.material_id, found.id, q) for q in (drawn, heel) if q])
    cost = sum((one.value for one in costed), ZERO)
    split = split_drum(cost, amounts, actor.currency, counted=found.material.counted)
    children = _open_children(actor, found, len(read), status)
    moves = _moves(actor, costed, children, read, split)
    decanting = _post(actor, found, moves, read, happened_at, note)
    open_with(actor, found, children, decanting.entry_id)
    decanting.drawn, decanting.heel, decanting.cost = drawn, heel, cost
    decanting.save(force_insert=True)
    offers = _offer(actor, draws, read, children, split, happened_at)
    _keep(actor, decanting, read, children, split, offers)
    for place, one in enumerate(paid):
        with placed(f"/paid/{place}"):
            record_payment(actor, paid=False, happened_at=happened_at, **asdict(one))
    return Decanted(decanting, split, _parts(actor, split, offers, paid))


def _check_makers(actor: Actor, draws: Sequence[Drawn], paid: Sequence[PaidByOther]) -> None:
    """Raises NotFound for a maker that is not of the co-op."""
    named = [(one.maker, f"/draws/{place}/maker") for place, one in enumerate(draws) if one.maker]
    named += [(one.maker, f"/paid/{place}/maker") for place, one in enumerate(paid)]
    find_all(makers_of_coop(actor), named)


def _drawable(actor: Actor, lot: Lot) -> str:
    """How a lot stands that may be drawn off. Raises LotNotReleased for any other."""
    status = custody_of(actor, lot).status
    if status in (Status.HOLD, Status.REJECTED):
        raise LotNotReleased(
            Sentence(
                "The lot {code} is {status}; decide about it first.", code=lot.code, status=status
            )
        )
    return status


def _post(
    actor: Actor,
    lot: Lot,
    moves: Sequence[Move],
    read: Sequence[_Read],
    happened_at: datetime,
    note: str,
) -> Decanting:
    """Post the entry; the decanting that it makes, not yet saved."""
    posted = post_entry(
        actor,
        kind=Entry.Kind.DECANT,
        happened_at=happened_at,
        moves=moves,
        reason=note,
        details={"lot": str(lot.id), "lines": [one.net.facts() for one in read]},
    )
    return Decanting(
        id=new_id(),
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=lot,
        entry_id=posted.entry_id,
        happened_at=happened_at,
        note=note,
        person_id=actor.person_id,
    )


def decantings_of(actor: Actor, lot: UUID | str | None = None) -> "QuerySet[Decanting]":
    """The maker's decantings, of one lot if it is named. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    rows = Decanting.objects.filter(maker_id=actor.maker).select_related("lot__material")
    undone = Entry.objects.filter(coop_id=actor.coop_id, reverses_id=OuterRef("entry_id"))
    rows = rows.annotate(reversed=Exists(undone))
    return rows if lot is None else rows.filter(lot=lot_for(actor, lot))


def decanting_for(actor: Actor, id: UUID | str) -> Decanting:
    """A decanting of the maker's. Raises NotFound, Forbidden."""
    return find(decantings_of(actor), id)


def draws_of(decanting: Decanting) -> list[DecantingDraw]:
    """The draws of a decanting in their order, with their lots and offers."""
    rows = DecantingDraw.objects.filter(decanting=decanting).order_by("position")
    return list(rows.select_related("lot", "transfer__to_maker"))


def statuses_of(actor: Actor, draws: Sequence[DecantingDraw]) -> dict[UUID, str]:
    """How the lots of these draws stand with the maker."""
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    rows = own.filter(lot_id__in=[draw.lot_id for draw in draws])
    return dict(rows.values_list("lot_id", "status"))


def _read(lot: Lot, draw: Drawn, pointer: str) -> _Read:
    """Raises Invalid unless a draw has a net, or a gross above its tare."""
    if draw.net is not None:
        if draw.gross is not None or draw.tare is not None:
            raise Invalid("Give the net, or gross and tare, not both.", pointer=f"{pointer}/net")
        with placed(f"{pointer}/net"):
            return _Read(measure(draw.net, lot.material, density_of(lot)))
    if draw.gross is None or draw.tare is None:
        raise Invalid("Give the net, or gross and tare.", pointer=pointer)
    with placed(f"{pointer}/gross"):
        gross = measure(draw.gross, lot.material, density_of(lot))
    with placed(f"{pointer}/tare"):
        tare = measure(draw.tare, lot.material, density_of(lot))
    if gross.quantity <= tare.quantity:
        raise QuantityNotPositive("Gross must be above tare.", pointer=f"{pointer}/gross")
    net = Measured(
        f"{gross.entered} gross, {tare.entered} tare",
        gross.quantity - tare.quantity,
        counted=gross.counted,
    )
    return _Read(net, gross.quantity, tare.quantity)


def _left(actor: Actor, lot: Lot, drawn: Decimal) -> Decimal:
    """What stays behind of all that the books have of a lot in store. Raises NotEnough."""
    store = account(actor, Account.Kind.STORE, "store")
    rows = Holding.objects.filter(coop_id=actor.coop_id, account_id=store, lot_id=lot.id)
    there = sum(rows.values_list("quantity", flat=True), ZERO)
    if drawn > there:
        raise NotEnough(
            Sentence(
                "The books have {left} of the lot {code}: count it first if there is"
                " more, or draw less.",
                left=Amount(there, lot.material.counted).rounded_down(),
                code=lot.code,
            ),
            pointer="/draws",
            left=f"{there:f}",
        )
    return there - drawn


def _open_children(actor: Actor, lot: Lot, count: int, status: str) -> list[Lot]:
    """Lots that are what the drum was, each with a code of its own."""
    new = NewLot(
        material=lot.material,
        arrived_on=lot.arrived_on,
        supplier_id=lot.supplier_id,
        supplier_lot=lot.supplier_lot,
        made_in_id=lot.made_in_id,
        expires_on=lot.expires_on,
        retest_on=lot.retest_on,
        dates_note=lot.dates_note,
        density=density_of(lot),
    )
    children = open_lots(actor, [new] * count, release_basis=None)
    if status == Status.RELEASED:
        inherit_status(actor, children, basis=f"drawn from {lot.code}, released as it was")
    with connection.cursor() as cursor:
        cursor.execute(
            _PAPERS,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "lot": lot.id,
                "lots": [child.id for child in children],
            },
        )
    return children


def _moves(
    actor: Actor,
    costed: Sequence[StoreDraw],
    children: Sequence[Lot],
    read: Sequence[_Read],
    split: DrumSplit,
) -> list[Move]:
    """All that leaves the drum, the cost of its heel back to what was drawn, and the new lots."""
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    drawn, *heels = costed
    moves = [Move(store, making, drawn.lot_id, drawn.quantity)]
    for heel in heels:
        lost = open_account(actor, Account.Kind.LOSS, "heel")
        moves.append(Move(store, lost, heel.lot_id, heel.quantity))
        if heel.value:
            moves.append(Move(lost, making, None, ZERO, heel.value))
    moves += [
        Move(making, store, child.id, one.net.quantity, value)
        for child, one, value in zip(children, read, split.values, strict=True)
    ]
    return moves


def _offer(
    actor: Actor,
    draws: Sequence[Drawn],
    read: Sequence[_Read],
    children: Sequence[Lot],
    split: DrumSplit,
    happened_at: datetime,
) -> list[Transfer | None]:
    """What was drawn for others is offered to them, at its share of the cost."""
    offers: list[Transfer | None] = []
    for place, draw in enumerate(draws):
        if draw.maker is None or same_id(draw.maker, actor.maker):
            offers.append(None)
            continue
        net = read[place].net
        unit = kept_in(net.counted)
        with placed(f"/draws/{place}"):
            offer = offer_transfer(
                actor,
                maker=draw.maker,
                lot=children[place].id,
                quantity=parse_quantity(f"{net.quantity:f} {unit}"),
                price=split.shares[place],
                happened_at=happened_at,
            )
        offers.append(offer)
    return offers


def _keep(
    actor: Actor,
    decanting: Decanting,
    read: Sequence[_Read],
    children: Sequence[Lot],
    split: DrumSplit,
    offers: Sequence[Transfer | None],
) -> None:
    DecantingDraw.objects.bulk_create(
        DecantingDraw(
            id=new_id(),
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            decanting=decanting,
            position=place,
            lot=child,
            entered=one.net.entered,
            gross=one.gross,
            tare=one.tare,
            quantity=one.net.quantity,
            share=share,
            transfer=offer,
        )
        for place, (one, child, share, offer) in enumerate(
            zip(read, children, split.shares, offers, strict=True)
        )
    )


def _parts(
    actor: Actor,
    split: DrumSplit,
    offers: Sequence[Transfer | None],
    paid: Sequence[PaidByOther],
) -> list[Part[UUID]]:
    shares = [
        (actor.maker if offer is None else offer.to_maker_id, share)
        for share, offer in zip(split.shares, offers, strict=True)
    ]
    others = [(UUID(str(one.maker)), one.amount) for one in paid]
    return settle_drum(actor.maker, shares, others)
