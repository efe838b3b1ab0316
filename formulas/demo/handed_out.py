"""The demo's first order round, all the way: ordered, come, handed out, and billed once more."""

from decimal import Decimal
from functools import partial
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.history import SEEN
from formulas.demo.incidents import Incident
from formulas.demo.rounds import (
    PACKED,
    buyer_agreed,
    closed,
    last_order,
    opened,
    ordered,
    pledged,
    round_named,
)
from ledger.billing import Wanted, book_bill
from ledger.costing import ChargeKind, SpreadBy
from ledger.models import Bill
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receipts_of, receive
from ledger.round_handing import hand_out

NOTE: Final = "delivery note 30214"


def all_came(bench: Bench, days_ago: int) -> None:
    """Pumps and tins come together, with no freight for so large an order."""
    order = last_order(bench, "packaging", days_ago)
    lines = [
        Delivered(
            material=str(line.material_id),
            supplier_lot=f"P{bench.day(days_ago):%y%j}-{line.position + 1}",
            quantity=parse_quantity(f"{line.quantity:.0f} each"),
            price=Decimal(line.price),
            order_line=str(line.id),
        )
        for line in order.lines.order_by("position")
    ]
    bench.does(
        receive,
        supplier=bench.suppliers["packaging"],
        lines=lines,
        charges=[],
        happened_at=bench.at(days_ago, 10),
        release_basis=SEEN,
        reference=NOTE,
        order=order.id,
    )


def given_to_all(bench: Bench, days_ago: int) -> None:
    """The buyer hands out what came, each maker's share at its price."""
    round = round_named(bench, PACKED)
    bench.does(hand_out, round=round.id, happened_at=bench.at(days_ago, 17))


def freight_billed_late(bench: Bench, days_ago: int) -> None:
    """The supplier bills a second pallet after all; nobody has shared that yet."""
    receipt = bench.does(receipts_of).get(reference=NOTE)
    bench.does(
        book_bill,
        receipt=receipt.id,
        bill=Wanted(
            Bill.Kind.LATE_CHARGE,
            Decimal("27.00"),
            ChargeKind.FREIGHT,
            SpreadBy.VALUE,
            reference="invoice 5127",
            reason="a second pallet, billed late",
        ),
        happened_at=bench.at(days_ago, 11),
    )


HANDED_OUT: Final = (
    Incident(52, "coop", partial(opened, PACKED, "north")),
    Incident(51, "north", partial(buyer_agreed, PACKED)),
    Incident(50, "north", partial(pledged, PACKED, "north")),
    Incident(48, "mill", partial(pledged, PACKED, "mill")),
    Incident(47, "quay", partial(pledged, PACKED, "quay")),
    Incident(45, "coop", partial(closed, PACKED)),
    Incident(44, "north", partial(ordered, PACKED)),
    Incident(35, "north", all_came),
    Incident(34, "north", given_to_all),
    Incident(20, "north", freight_billed_late),
)
