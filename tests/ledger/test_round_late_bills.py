"""What is billed after a round was handed out is shared as if it had been known at the hand-out."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError

from ledger.access import acting_as
from ledger.billing import Wanted, book_bill
from ledger.costing import ChargeKind
from ledger.entries import reverse_entry
from ledger.errors import Conflict, Forbidden, Invalid
from ledger.explained_moves import BETWEEN_MAKERS
from ledger.issuing import Taken, issue
from ledger.models import (
    Account,
    Bill,
    Entry,
    Lot,
    Posting,
    ReceiptLine,
    RoundLateBill,
    RoundPortion,
)
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_handing import hand_out
from ledger.round_late_bills import SHARE, late_bills, share_late_bills
from ledger.round_ordering import place_orders
from ledger.settling import balances_of, movement_for
from ledger.statements import run
from tests.factories import D, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.ordering_together import EVENING, coordinator, does, offered, opened, owed, pledged

pytestmark = pytest.mark.usefixtures("database")
LATER = EVENING + timedelta(days=3)
PLEDGED = ("4 kg", "3 kg", "2 kg")
FREIGHT = Wanted(Bill.Kind.LATE_CHARGE, D("28.00"), charge_kind=ChargeKind.FREIGHT)
CREDIT = Wanted(Bill.Kind.CREDIT_NOTE, D("10.01"), reference="CN 7")


@pytest.fixture
def shops(database: object) -> list[Workshop]:
    """Three makers of one co-op; the first buys."""
    first = open_workshop("North Bench")
    return [first, *(open_workshop(name, coop=first.coop) for name in ("Mill Bench", "Quay Bench"))]


def came(shops: list[Workshop]) -> tuple[Any, Lot]:
    """A round of which all came for 80.00; the carrier has not asked for its 28.00 yet."""
    north = shops[0]
    round, oil = opened(north), offered(north)
    for shop, quantity in zip(shops, PLEDGED, strict=True):
        pledged(shop, round, oil, quantity)
    close_and_reckon(owed(north, round), EVENING)
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = north.does(lambda actor: list(order.lines.all()))
    delivered = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(80), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    return round, north.does(receive, supplier=order.supplier_id, lines=[delivered], **about).lots[
        0
    ]


def billed(north: Workshop, lot: Lot, bill: Wanted) -> Bill:
    line = north.does(lambda actor: ReceiptLine.objects.get(lot=lot))
    return north.does(book_bill, receipt=line.receipt_id, bill=bill, happened_at=LATER)


def owes(shops: list[Workshop]) -> list[Any]:
    """What each of the others owes the buyer."""
    found = {one.name: one.amount for one in shops[0].does(balances_of)}
    return [found[name] for name in ("Mill Bench", "Quay Bench")]


def test_it_is_one_whether_a_bill_comes_before_or_after(shops: list[Workshop]) -> None:
    """And each pays its share as the round has split it, once the freight is there."""
    north = shops[0]
    first, lot = came(shops)
    billed(north, lot, FREIGHT)
    billed(north, lot, CREDIT)
    north.does(hand_out, round=first.id, happened_at=LATER)
    before = owes(shops)
    second, lot = came(shops)
    north.does(hand_out, round=second.id, happened_at=EVENING)
    billed(north, lot, FREIGHT)
    told = north.does(late_bills, second.id)
    assert told.amount == 28
    assert not told.shared
    assert len(told.waiting) == 3
    assert does(coordinator(north), late_bills, round=second.id).waiting == told.waiting
    assert shops[1].does(late_bills, second.id).waiting == []
    north.does(share_late_bills, round=second.id, happened_at=LATER, note="the carrier's bill")
    whole = [
        row.amount + sum(part.amount for part in row.late_parts.all()) for row in handed(north)
    ]
    assert sum(whole) == 108 + D("97.99")
    billed(north, lot, CREDIT)
    north.does(share_late_bills, round=second.id, happened_at=LATER)
    assert [twice - once for once, twice in zip(before, owes(shops), strict=True)] == before
    done = north.does(late_bills, second.id)
    assert [(one.row.amount, one.amount, len(one.lines)) for one in done.shared] == [
        (28, 28, 3),
        (D("-10.01"), D("-10.01"), 3),
    ]
    assert done.waiting == []
    for shop in shops:
        assert shop.disagreements() == []
    own = shops[1].does(late_bills, second.id).shared
    assert {line.maker_name for one in own for line in one.lines} == {"Mill Bench"}
    with pytest.raises(Conflict, match="all of it is shared"):
        north.does(share_late_bills, round=second.id, happened_at=LATER)


def handed(north: Workshop) -> list[RoundPortion]:
    rows = RoundPortion.objects.filter(maker_id=north.actor.maker)
    return north.does(lambda actor: list(rows.prefetch_related("late_parts").order_by("id")))


def test_it_falls_on_what_each_has_and_has_used(shops: list[Workshop]) -> None:
    """Mill Bench has given half of its part away; the buyer gains and loses nothing by others."""
    north, mill, _ = shops
    round, lot = came(shops)
    north.does(hand_out, round=round.id, happened_at=EVENING)
    got, _ = mill.held(lot)
    half = [Taken(lot.id, parse_quantity(f"{got / 2} g"))]
    mill.does(issue, lines=half, purpose="gift", reason="open day", happened_at=EVENING)
    left = mill.held(lot)[1]
    billed(north, lot, FREIGHT)
    difference = Account.Kind.COST_DIFFERENCE

    def booked(shop: Workshop) -> Any:
        rows = Posting.objects.filter(maker_id=shop.actor.maker, account__kind=difference)
        return shop.does(lambda actor: sum(row.value for row in rows))

    own = booked(north)
    told = north.does(share_late_bills, round=round.id, happened_at=LATER).shared[0].lines
    (part,) = [line for line in told if line.maker_name == "Mill Bench"]
    assert abs(mill.held(lot)[1] - left - part.amount / 2) < D("0.01")
    assert mill.held(lot)[1] - left + booked(mill) == part.amount
    others = [line for line in told if line.maker_id != north.actor.maker]
    assert booked(north) == own - sum(line.amount for line in others)
    assert part.movement_id is not None
    moved = mill.does(movement_for, part.movement_id)
    assert (moved.kind, moved.amount, moved.note) == ("bill", part.amount, "Round: Spring")
    assert moved.to_maker_id == mill.actor.maker
    # Neither takes it back alone.
    for shop, entry in ((north, moved.entry_id), (mill, moved.to_entry_id)):
        with pytest.raises(Conflict, match="books of both"):
            shop.does(reverse_entry, entry=entry, reason="a slip", happened_at=LATER)
    assert BETWEEN_MAKERS["shared_bill_not_reversed"]({}).code == "conflict"
    for shop in shops:
        assert shop.disagreements() == []


def test_a_bill_that_was_undone_is_given_back(shops: list[Workshop]) -> None:
    north, *others = shops
    round, lot = came(shops)
    north.does(hand_out, round=round.id, happened_at=EVENING)
    before = owes(shops)
    bill = billed(north, lot, FREIGHT)
    north.does(share_late_bills, round=round.id, happened_at=LATER)
    assert owes(shops) != before
    north.does(reverse_entry, entry=bill.entry_id, reason="not ours", happened_at=LATER)
    north.does(share_late_bills, round=round.id, happened_at=LATER)
    assert owes(shops) == before
    assert [len(shop.does(late_bills, round.id).shared) for shop in others] == [2, 2]
    for shop in shops:
        assert shop.disagreements() == []


def test_who_shares_it_and_when(shops: list[Workshop]) -> None:
    north, mill, _ = shops
    round, lot = came(shops)
    about = {"round": round.id, "happened_at": LATER}
    with pytest.raises(Conflict, match="not handed out yet"):
        north.does(share_late_bills, **about)
    north.does(hand_out, round=round.id, happened_at=EVENING)
    with pytest.raises(Conflict, match="Nothing was billed"):
        north.does(share_late_bills, **about)
    billed(north, lot, FREIGHT)
    with pytest.raises(Forbidden, match="North Bench"):
        mill.does(share_late_bills, **about)
    with pytest.raises(Invalid) as early:
        north.does(share_late_bills, round=round.id, happened_at=EVENING - timedelta(days=1))
    assert early.value.pointer == "/happened_at"
    (portion, *_) = handed(north)

    def tried(shop: Workshop, parts: str) -> str | None:
        given = [portion.id, round.id, LATER, shop.actor.person_id, "", 2, parts]
        with pytest.raises(DatabaseError) as refused, acting_as(shop.actor):
            run(SHARE, given)
        return refused_by(refused.value)

    assert tried(mill, "[]") == "round_is_there"
    assert tried(north, "[]") == "late_parts_as_billed"
    assert BETWEEN_MAKERS["late_parts_as_billed"]({}).code == "conflict"
    with pytest.raises(DatabaseError), acting_as(north.actor):
        RoundLateBill(coop_id=north.coop.id).save(force_insert=True)
    kinds = north.does(lambda actor: set(Entry.objects.values_list("kind", flat=True)))
    assert "shared_bill" not in kinds, "nothing was half-written"
