"""The demo's order rounds: one that is closed, split and ordered, and one that is still open.

A round before these stands in `handed_out`, and is done by the same functions.
"""

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.history import MAKERS, SEEN
from formulas.demo.incidents import Incident
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.models import OrderRound, PurchaseOrder
from ledger.order_reading import OrdersWanted, orders_of
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_buyers import answer_as_buyer
from ledger.round_closing import close_and_reckon_at_once
from ledger.round_ordering import place_orders
from ledger.rounds import buyers_for, open_round, pledge, rounds_of

AUTUMN: Final = "Autumn round"
HOLIDAYS: Final = "For the holidays"
PACKED: Final = "Pumps and tins"
# By round and maker: material, quantity, highest price of a kilogram or piece, takes leftover.
PLEDGES: Final[dict[tuple[str, str], tuple[tuple[str, str, str, bool], ...]]] = {
    (PACKED, "north"): (("pump", "900 each", "", False),),
    (PACKED, "mill"): (("pump", "600 each", "", False),),
    (PACKED, "quay"): (("tin", "300 each", "", False),),
    (AUTUMN, "north"): (
        ("label", "1200 each", "", True),
        ("decyl", "9 kg", "", False),
    ),
    (AUTUMN, "mill"): (
        ("label", "900 each", "", False),
        ("decyl", "6 kg", "", False),
        ("shea", "4 kg", "", False),
    ),
    (AUTUMN, "quay"): (
        ("label", "700 each", "", False),
        ("shea", "16 kg", "", True),
        # Nobody sells it so cheaply.
        ("jojoba", "1 kg", "18.00", False),
    ),
    (HOLIDAYS, "north"): (("glycerin", "20 kg", "", False),),
    (HOLIDAYS, "mill"): (
        ("glycerin", "8 kg", "11.00", True),
        ("phenoxy", "2 kg", "", False),
    ),
    (HOLIDAYS, "quay"): (
        ("coconut", "10 kg", "", False),
        ("beeswax", "5 kg", "19.50", False),
    ),
}


def opened(name: str, buyer: str, coop: Bench, days_ago: int) -> None:
    """The coordinator opens a round for a week, and names who is to buy."""
    coop.does(
        open_round,
        name=name,
        buyer=coop.does(buyers_for).get(name=MAKERS[buyer]).id,
        closes_at=coop.at(days_ago, 18) + timedelta(days=7),
        now=coop.at(days_ago, 9),
        note="goods are handed out at the buyer's bench",
    )


def buyer_agreed(name: str, bench: Bench, days_ago: int) -> None:
    """Whoever was named to buy agrees."""
    round = round_named(bench, name)
    bench.does(answer_as_buyer, round=round.id, agrees=True, now=bench.at(days_ago, 10))


def pledged(name: str, maker: str, bench: Bench, days_ago: int) -> None:
    """A maker pledges what it wants in a round."""
    for minute, (material, quantity, highest, leftover) in enumerate(PLEDGES[name, maker]):
        bench.does(
            pledge,
            round=round_named(bench, name).id,
            material=bench.materials[material],
            now=bench.at(days_ago, 12, minute),
            quantity=parse_quantity(quantity),
            highest_price=Decimal(highest) if highest else None,
            takes_leftover=leftover,
        )


def closed(name: str, coop: Bench, days_ago: int) -> None:
    """A round is closed, ordered for as one, and split."""
    round = round_named(coop, name)
    coop.does(close_and_reckon_at_once, round=round.id, now=coop.at(days_ago, 18))


def ordered(name: str, bench: Bench, days_ago: int) -> None:
    """Its buyer writes the orders."""
    round = round_named(bench, name)
    bench.does(place_orders, round=round.id, happened_at=bench.at(days_ago, 9))


def labels_came(bench: Bench, days_ago: int) -> None:
    """The labels of the round come first; the rest is on its way."""
    order = last_order(bench, "packaging", days_ago)
    (line,) = order.lines.all()
    price = Decimal(line.price)
    bench.does(
        receive,
        supplier=bench.suppliers["packaging"],
        lines=[
            Delivered(
                material=str(bench.materials["label"]),
                supplier_lot=f"L{bench.day(days_ago):%y%j}",
                quantity=parse_quantity(f"{line.quantity:.0f} each"),
                price=price,
                order_line=str(line.id),
            )
        ],
        charges=[Charge(ChargeKind.FREIGHT, Decimal("18.00"), SpreadBy.VALUE)],
        happened_at=bench.at(days_ago, 9, 30),
        release_basis=SEEN,
        reference="delivery note 30551",
        order=order.id,
    )


def last_order(bench: Bench, supplier: str, days_ago: int) -> PurchaseOrder:
    """The latest order from a supplier."""
    wanted = OrdersWanted(supplier=bench.suppliers[supplier])
    return bench.does(orders_of, wanted, today=bench.day(days_ago)).latest("written_at")


def round_named(bench: Bench, name: str) -> OrderRound:
    """A round of the co-op."""
    return bench.does(rounds_of).get(name=name)


ROUNDS: Final = (
    Incident(16, "coop", partial(opened, AUTUMN, "north")),
    Incident(15, "north", partial(buyer_agreed, AUTUMN)),
    Incident(14, "north", partial(pledged, AUTUMN, "north")),
    Incident(12, "quay", partial(pledged, AUTUMN, "quay")),
    Incident(10, "mill", partial(pledged, AUTUMN, "mill")),
    Incident(9, "coop", partial(closed, AUTUMN)),
    Incident(8, "north", partial(ordered, AUTUMN)),
    Incident(2, "north", labels_came),
    Incident(3, "coop", partial(opened, HOLIDAYS, "quay")),
    Incident(2, "mill", partial(pledged, HOLIDAYS, "mill")),
    Incident(2, "quay", partial(pledged, HOLIDAYS, "quay")),
    Incident(1, "north", partial(pledged, HOLIDAYS, "north")),
)
