"""A drum drawn off, bottles emptied again, and goods that lie at a shop: lots on their ways."""

from typing import Final
from uuid import UUID

from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from formulas.emptying import empty
from ledger.consigning import bring_back, consign, sell_consigned
from ledger.decanting import Drawn, decant
from ledger.issuing import Taken
from ledger.quantities import parse_quantity

SHOP: Final = "gift shop at the pier"


def glucoside_drawn_off(bench: Bench, days_ago: int) -> None:
    """A drum that is too heavy to lift is drawn off into two cans; a little stays in it."""
    bench.does(
        decant,
        lot=bench.lots["decyl"][-1].id,
        draws=[
            Drawn(gross=parse_quantity("5.98 kg"), tare=parse_quantity("0.36 kg")),
            Drawn(gross=parse_quantity("5.94 kg"), tare=parse_quantity("0.36 kg")),
        ],
        happened_at=bench.at(days_ago, 9),
        note="two cans, under the bench",
    )


def bottles_emptied(bench: Bench, days_ago: int) -> None:
    """Two bottles with torn labels are emptied; the wash goes into the next batch."""
    lot = bench.lots["hand wash 250"][-1].id
    emptied = bench.does(
        empty,
        lot=lot,
        units=2,
        reason="the labels are torn; the wash is good",
        happened_at=bench.at(days_ago, 15),
        quantity=parse_quantity("506 g"),
    )
    bench.unsold[lot] -= 2
    bench.lots["hand wash"].append(emptied.lot)


def sent_to_shop(bench: Bench, days_ago: int) -> None:
    """Two dozen bottles lie at a shop, which pays for what it has sold."""
    lot = bench.lots["hand wash 250"][-1].id
    bench.does(consign, shop=SHOP, lines=_bottles(lot, 24), happened_at=bench.at(days_ago, 9))
    bench.unsold[lot] -= 24
    bench.at_shop.append(lot)


def sold_at_shop(bench: Bench, days_ago: int) -> None:
    """The shop tells what it has sold."""
    lines = _bottles(bench.at_shop[-1], 9)
    bench.does(sell_consigned, shop=SHOP, lines=lines, happened_at=bench.at(days_ago, 18))


def brought_back(bench: Bench, days_ago: int) -> None:
    """Two that stood in the window come back."""
    lot = bench.at_shop[-1]
    bench.does(
        bring_back,
        shop=SHOP,
        lines=_bottles(lot, 2),
        reason="the labels have faded in the window",
        happened_at=bench.at(days_ago, 12),
    )
    bench.unsold[lot] += 2


def _bottles(lot: UUID, units: int) -> list[Taken]:
    return [Taken(lot, parse_quantity(f"{units} each"))]


SMALL_LOTS: Final = (
    Incident(47, "north", glucoside_drawn_off),
    Incident(42, "north", sent_to_shop),
    Incident(40, "north", bottles_emptied),
    Incident(28, "north", sold_at_shop),
    Incident(11, "north", sold_at_shop),
    Incident(10, "north", brought_back),
)
