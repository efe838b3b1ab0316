"""What makers do together, as files: rounds, hand-outs, balances, shares.

Each is made of what its page has read already, within the same walls.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as said

from api.pages.tables import Cell, Table, unit_of
from ledger.coop_clearing import Position
from ledger.models import OrderRound, RoundOrder, RoundPledge
from ledger.round_charges import Charged
from ledger.round_handing import MakerLines
from ledger.round_results import Result
from ledger.rounds import Pledged
from ledger.settling import Balance
from ledger.sharing import Shown


def all_rounds(rows: Iterable[tuple[OrderRound, str]]) -> Table:
    """The rounds of the co-op as they stand."""
    columns = [said("Round"), said("Who buys for all"), said("Pledges until"), said("State")]
    cells = [
        (one.name, one.buying_name, one.closes_at.isoformat(), _stands(one, state))
        for one, state in rows
    ]
    return Table("rounds", columns, cells)


def _stands(round: Any, state: str) -> str:
    """How far a round is, in the words of its page."""
    if state != "reckoned":
        return said("open") if state == "open" else said("being worked out")
    if round.handed_out_at:
        return said("handed out")
    if round.orders_nothing:
        return said("nothing is ordered")
    return said("ordered") if round.written else said("worked out")


def pledges(own: Iterable[RoundPledge], all: Iterable[Pledged]) -> Table:
    """What a maker pledged, and the sums of all where they are told."""
    columns = [said("Whose"), said("Material"), said("Quantity"), said("Unit"), said("Makers")]
    cells: list[tuple[Cell, ...]] = [
        (said("own"), one.material.name, one.quantity, unit_of(one.material.counted), None)
        for one in own
    ]
    cells += [
        (said("all"), one.material.name, one.quantity, unit_of(one.material.counted), one.makers)
        for one in all
    ]
    return Table("pledges", columns, cells)


def round_shares(result: Result, got: Mapping[UUID, Charged], currency: str) -> Table:
    """Who gets what and pays how much: as it was split, and as it was charged since."""
    columns = [said("Maker"), said("Material"), said("Quantity"), said("Unit")]
    columns += [f"{said('As it was split')}, {currency}", said("Leftover")]
    columns += [f"{name}, {currency}" for name in (said("For leftover"), said("Charged"))]
    columns.append(f"{said('Later bills')}, {currency}")
    cells = []
    for one in result.makers:
        # Of whom all pledges dropped nothing was charged.
        charged = got.get(one.maker_id)
        goods = {row.material.id: row for row in charged.goods} if charged else {}
        for line in one.lines:
            row = goods.get(line.material_id)
            cells.append(
                (
                    *(one.maker_name, line.material.name, line.quantity),
                    *(unit_of(line.material.counted), line.amount),
                    *(line.leftover, line.leftover_amount),
                    *((row.amount, row.later) if row else (None, None)),
                )
            )
    return Table("shares", columns, cells)


def round_orders(orders: Sequence[RoundOrder], currency: str) -> Table:
    """What the round orders, line by line."""
    columns = [said("Supplier"), said("Order"), said("Material"), said("Packs"), said("A pack")]
    columns += [f"{name}, {currency}" for name in (said("Goods in all"), said("Freight in all"))]
    cells = [
        (
            *(order.supplier.name, " ".join(one.number for one in order.placements.all())),
            *(line.offer.material.name, line.packs, line.offer.entered),
            *(order.goods, order.freight),
        )
        for order in orders
        for line in order.lines.all()
    ]
    return Table("orders", columns, cells)


def handed_out(makers: Iterable[MakerLines], currency: str) -> Table:
    """What each gets and pays, beside what was promised."""
    columns = [said("Maker"), said("Material"), said("Promised"), said("Gets"), said("Unit")]
    columns += [f"{name}, {currency}" for name in (said("As it was split"), said("To pay"))]
    cells = [
        (
            *(one.maker_name, line.material.name, line.promised, line.quantity),
            *(unit_of(line.material.counted), line.split, line.amount),
        )
        for one in makers
        for line in one.lines
    ]
    return Table("hand-out", columns, cells)


def owing(rows: Iterable[Balance], currency: str) -> Table:
    """What each owes the reader's maker, or below zero is owed by it; what of that is disputed."""
    return _stand(said("Owes you"), rows, currency)


def owed(rows: Iterable[Position], currency: str) -> Table:
    """What each is owed by all others, or below zero owes them; what of that is disputed."""
    return _stand(said("Is owed"), rows, currency)


def _stand(what: str, rows: Iterable[Balance | Position], currency: str) -> Table:
    columns = [said("Maker"), *(f"{name}, {currency}" for name in (what, said("Of it disputed")))]
    return Table("balances", columns, [(one.name, one.amount, one.disputed) for one in rows])


def payments(ways: Iterable[tuple[str, str, Any]], currency: str) -> Table:
    """The fewest payments that clear it."""
    return Table("payments", [said("Payer"), said("Payee"), f"{said('Amount')}, {currency}"], ways)


def shares(rows: Iterable[Shown], *, costs: bool, currency: str) -> Table:
    """What can be had of others and what is shared, with its price for who may see costs."""
    columns = [said("Maker"), said("Lot"), said("Material"), said("Left"), said("Unit")]
    columns += [said("Use by"), said("Status")]
    columns += [f"{said('A kilogram or piece')}, {currency}"] if costs else []
    cells = [
        (
            *(one.giver, one.code, one.material_name, one.claimable, unit_of(one.counted)),
            *(one.until, one.giver_status),
            *((one.price,) if costs else ()),
        )
        for one in rows
    ]
    return Table("shares", columns, cells)
