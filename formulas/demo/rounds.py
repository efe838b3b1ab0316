"""The demo's order rounds: one that is closed, split and ordered, and one that is still open."""

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.history import MAKERS, SEEN
from formulas.demo.incidents import Incident
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.models import OrderRound
from ledger.order_reading import OrdersWanted, orders_of
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_buyers import answer_as_buyer
from ledger.round_closing import close_and_reckon_at_once
from ledger.round_ordering import place_orders
from ledger.rounds import buyers_for, open_round, pledge, rounds_of

AUTUMN: Final = "Autumn round"
HOLIDAYS: Final = "For the holidays"
# By round and maker: material, quantity, highest price of a kilogram or piece, takes leftover.
PLEDGES: Final[dict[tuple[str, str], tuple[tuple[str, str, str, bool], ...]]] = {
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


def autumn_opened(coop: Bench, days_ago: int) -> None:
    """The coordinator opens a round in which North Bench buys."""
    _open(coop, AUTUMN, "north", days_ago, closes_in=7)


def holidays_opened(coop: Bench, days_ago: int) -> None:
    """The next one, in which Quay Bench buys, and which is open still."""
    _open(coop, HOLIDAYS, "quay", days_ago, closes_in=7)


def buyer_agreed(bench: Bench, days_ago: int) -> None:
    """Whoever was named to buy in the first round agrees; in the next one it is still asked."""
    round = _round(bench, AUTUMN)
    bench.does(answer_as_buyer, round=round.id, agrees=True, now=bench.at(days_ago, 10))


def pledged(name: str, maker: str, bench: Bench, days_ago: int) -> None:
    """A maker pledges what it wants in a round."""
    for minute, (material, quantity, highest, leftover) in enumerate(PLEDGES[name, maker]):
        bench.does(
            pledge,
            round=_round(bench, name).id,
            material=bench.materials[material],
            now=bench.at(days_ago, 12, minute),
            quantity=parse_quantity(quantity),
            highest_price=Decimal(highest) if highest else None,
            takes_leftover=leftover,
        )


def autumn_closed(coop: Bench, days_ago: int) -> None:
    """The first round is closed, ordered for as one, and split."""
    round = _round(coop, AUTUMN)
    coop.does(close_and_reckon_at_once, round=round.id, now=coop.at(days_ago, 18))


def autumn_ordered(bench: Bench, days_ago: int) -> None:
    """Its buyer writes the orders."""
    round = _round(bench, AUTUMN)
    bench.does(place_orders, round=round.id, happened_at=bench.at(days_ago, 9))


def labels_came(bench: Bench, days_ago: int) -> None:
    """The labels of the round come first; the rest is on its way."""
    wanted = OrdersWanted(supplier=bench.suppliers["packaging"])
    order = bench.does(orders_of, wanted, today=bench.day(days_ago)).latest("written_at")
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


def _open(coop: Bench, name: str, buyer: str, days_ago: int, *, closes_in: int) -> None:
    now = coop.at(days_ago, 9)
    coop.does(
        open_round,
        name=name,
        buyer=coop.does(buyers_for).get(name=MAKERS[buyer]).id,
        closes_at=coop.at(days_ago, 18) + timedelta(days=closes_in),
        now=now,
        note="goods are handed out at the buyer's bench",
    )


def _round(bench: Bench, name: str) -> OrderRound:
    return bench.does(rounds_of).get(name=name)


ROUNDS: Final = (
    Incident(16, "coop", autumn_opened),
    Incident(15, "north", buyer_agreed),
    Incident(14, "north", partial(pledged, AUTUMN, "north")),
    Incident(12, "quay", partial(pledged, AUTUMN, "quay")),
    Incident(10, "mill", partial(pledged, AUTUMN, "mill")),
    Incident(9, "coop", autumn_closed),
    Incident(8, "north", autumn_ordered),
    Incident(2, "north", labels_came),
    Incident(3, "coop", holidays_opened),
    Incident(2, "mill", partial(pledged, HOLIDAYS, "mill")),
    Incident(2, "quay", partial(pledged, HOLIDAYS, "quay")),
    Incident(1, "north", partial(pledged, HOLIDAYS, "north")),
)
