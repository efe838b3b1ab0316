"""What does not go to plan: goods decided on late, sent back, spilled, cancelled, undone."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from formulas.batches import cancel_batch
from formulas.demo.bench import Bench
from formulas.demo.history import SEEN
from formulas.undoing import undo
from formulas.unit_weighings import Weighed, choose_rule, units_of_fill, weigh_units
from ledger.issuing import Taken, issue, return_to_supplier, take_back
from ledger.lots import decide
from ledger.quantities import parse_quantity

# As the order of a shop is named in the books.
CORNER_SHOP: Final = "corner shop, order 118"


@dataclass(frozen=True, slots=True)
class Incident:
    """Something that happened to a maker on a day."""

    days_ago: int
    maker: str
    happens: Callable[[Bench, int], None]


def certificate_came(bench: Bench, days_ago: int) -> None:
    """The beeswax that was poured before its certificate came is released."""
    bench.does(decide, lot=bench.lots["beeswax"][-1].id, decision="release", basis=SEEN)


def labels_misprinted(bench: Bench, days_ago: int) -> None:
    """Labels are rejected and go back to their supplier."""
    lot = bench.lots["label"][-1]
    bench.does(decide, lot=lot.id, decision="reject", basis="the net weight is misprinted")
    bench.does(
        return_to_supplier,
        lines=[Taken(lot.id, parse_quantity("250 each"))],
        reason="misprinted",
        happened_at=bench.at(days_ago, 14),
    )


def bulk_filled(bench: Bench, days_ago: int) -> None:
    """Hand wash that was made as bulk is filled the day after, and a dozen bottles are weighed.

    The rest stays bulk.
    """
    filled = bench.fill("hand wash 500", bench.lots["hand wash"][-1], 20, days_ago)
    bench.does(choose_rule, product=bench.products["hand wash 500"], rule="eu", allowed=None)
    tenths = [bench.chance.randint(5120, 5190) for _ in range(12)]
    bench.does(
        weigh_units,
        of=bench.does(units_of_fill, filled.filling.id),
        weighed=[Weighed(net=parse_quantity(f"{net / Decimal(10)} g")) for net in tenths],
        happened_at=bench.at(days_ago, 12),
        now=bench.at(days_ago, 12),
    )


def mixer_broken(bench: Bench, days_ago: int) -> None:
    """A batch is planned, and cancelled because the mixer is under repair."""
    planned = bench.plan("lotion 200", 60, bench.day(days_ago))
    bench.does(
        cancel_batch,
        batch=planned.batch.id,
        reason="the mixer is under repair",
        happened_at=bench.at(days_ago, 9),
    )


def jar_dropped(bench: Bench, days_ago: int) -> None:
    """A jar of oat infusion breaks, and what was in it is written off."""
    bench.does(
        issue,
        lines=[Taken(bench.lots["infusion"][-1].id, parse_quantity("150 g"))],
        purpose="spill",
        reason="a jar fell from the shelf",
        happened_at=bench.at(days_ago, 15),
    )


def testers_given(bench: Bench, days_ago: int) -> None:
    """Two tins stand open at the stall for people to try."""
    lot = bench.lots["balm 30"][-1].id
    bench.does(
        issue,
        lines=[Taken(lot, parse_quantity("2 each"))],
        purpose="tester",
        reason="open at the stall",
        happened_at=bench.at(days_ago, 10),
    )
    bench.unsold[lot] -= 2


def pump_stuck(bench: Bench, days_ago: int) -> None:
    """A shop buys a dozen bottles and brings one back."""
    lot = bench.lots["hand wash 250"][-1].id
    sale = bench.sell([(lot, 12)], CORNER_SHOP, bench.at(days_ago, 9))
    bench.does(
        take_back,
        sale=sale.posted.entry_id,
        lines=[Taken(lot, parse_quantity("1 each"))],
        reason="the pump is stuck",
        happened_at=bench.at(days_ago, 16),
    )


def order_entered_twice(bench: Bench, days_ago: int) -> None:
    """An order is entered twice, and the second entry is taken back."""
    lot = bench.lots["lotion 200"][-1].id
    for hour in (9, 10):
        sale = bench.sell([(lot, 6)], "corner shop, order 121", bench.at(days_ago, hour))
    bench.does(
        undo,
        entry=sale.posted.entry_id,
        reason="the order was entered twice",
        happened_at=bench.at(days_ago, 11),
    )
    bench.unsold[lot] += 6


INCIDENTS: Final = (
    Incident(47, "quay", certificate_came),
    Incident(33, "north", bulk_filled),
    Incident(29, "quay", labels_misprinted),
    Incident(21, "mill", jar_dropped),
    Incident(15, "mill", mixer_broken),
    Incident(14, "north", pump_stuck),
    Incident(12, "quay", testers_given),
    Incident(8, "mill", order_entered_twice),
)
