"""What the demo's bottles hold: by water, and by the weight of what was filled into them."""

from decimal import Decimal
from typing import Final

from formulas.containers import Piece, record_water_fill, set_container
from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from formulas.unit_weighings import Weighed, choose_rule, units_of_batch, weigh_units
from ledger.quantities import parse_quantity

# Grams with water, to the brim and to the shoulder, and empty.
BOTTLES: Final = {
    "bottle 250": (
        ("250 mL", "3"),
        (("brimful", ("301.8", "302.4", "301.1")), ("usable", ("287.6", "288.3", "287.0"))),
        "28.1",
    ),
    "bottle 500": (
        ("500 mL", "3"),
        (("brimful", ("572.6", "573.9", "571.8")), ("usable", ("552.3", "553.6", "551.7"))),
        "42.2",
    ),
}


def bottles_measured(bench: Bench, days_ago: int) -> None:
    """Three bottles of each size are filled with water: to the shoulder they hold too much."""
    for place, (name, ((nominal, headspace), levels, empty)) in enumerate(BOTTLES.items()):
        material = bench.materials[name]
        bench.does(
            set_container,
            material=material,
            nominal=parse_quantity(nominal),
            headspace_percent=Decimal(headspace),
        )
        tare = parse_quantity(f"{empty} g")
        for level, filled in levels:
            bench.does(
                record_water_fill,
                material=material,
                level=level,
                at="21 degC",
                pieces=[Piece(parse_quantity(f"{gross} g"), tare) for gross in filled],
                happened_at=bench.at(days_ago, 14, 20 * place),
            )


def rule_chosen(bench: Bench, days_ago: int) -> None:
    """The contents of the small bottle are judged by a rule from now on."""
    bench.does(choose_rule, product=bench.products["hand wash 250"], rule="eu", allowed=None)


def units_weighed(bench: Bench, days_ago: int) -> None:
    """A dozen bottles of the last batch are weighed; they hold somewhat more than they should."""
    tenths = [bench.meters.randint(2568, 2606) for _ in range(12)]
    bench.does(
        weigh_units,
        of=bench.does(units_of_batch, bench.batches["hand wash 250"][-1]),
        weighed=[Weighed(net=parse_quantity(f"{net / Decimal(10)} g")) for net in tenths],
        happened_at=bench.at(days_ago, 16, 30),
        now=bench.at(days_ago, 16, 30),
    )


CONTAINERS: Final = (
    Incident(61, "north", bottles_measured),
    Incident(60, "north", rule_chosen),
    Incident(56, "north", units_weighed),
    Incident(43, "north", units_weighed),
    Incident(19, "north", units_weighed),
)
