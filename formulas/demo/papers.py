"""What the demo's makers write down: standard costs, complaints, orders that are not here yet."""

from datetime import timedelta
from decimal import Decimal
from typing import Final

from formulas.complaints import add_fact, log_complaint
from formulas.demo.bench import Bench
from formulas.demo.history import SEEN
from formulas.demo.incidents import Incident
from formulas.standards import GivenPrice, Policy, set_formula_standard, set_product_standard
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.ordering import Changes, Ordered, correct_line, send_order, write_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive


def hand_wash_should_cost(bench: Bench, days_ago: int) -> None:
    """What hand wash should cost from now on: glucoside at the price that was agreed."""
    _set_standard(bench, "hand wash", "hand wash 250", {"decyl": "8.50"}, days_ago)


def lotion_should_cost(bench: Bench, days_ago: int) -> None:
    """What lotion should cost; a bottle should take less work than it does."""
    _set_standard(bench, "lotion", "lotion 200", {"sunflower": "6.20", "shea": "9.00"}, days_ago)


def _set_standard(
    bench: Bench, formula: str, product: str, agreed: dict[str, str], days_ago: int
) -> None:
    day, note = bench.day(days_ago), "for this season"
    prices = [GivenPrice(bench.materials[name], Decimal(price)) for name, price in agreed.items()]
    bench.does(
        set_formula_standard,
        formula=bench.formulas[formula],
        valid_from=day,
        prices=prices,
        note=note,
    )
    bench.does(
        set_product_standard,
        product=bench.products[product],
        valid_from=day,
        policy=Policy(minutes_per_unit=Decimal("1.4")),
        note=note,
    )


def jars_came_and_no_tins(bench: Bench, days_ago: int) -> None:
    """Tins and jars are ordered; the jars come in the second week, the tins will come later."""
    order = bench.does(
        write_order,
        supplier=bench.suppliers["packaging"],
        lines=[
            Ordered(str(bench.materials["tin"]), parse_quantity("300 each"), Decimal("234.00"), 2),
            Ordered(str(bench.materials["jar"]), parse_quantity("300 each"), Decimal("177.00")),
        ],
        happened_at=bench.at(days_ago + 11, 10),
        note="by telephone",
    )
    tins, jars = order.lines.order_by("position")
    bench.does(
        receive,
        supplier=bench.suppliers["packaging"],
        lines=[
            Delivered(
                material=str(bench.materials["jar"]),
                supplier_lot="J 7712",
                quantity=parse_quantity("300 each"),
                price=Decimal("180.00"),
                order_line=str(jars.id),
            )
        ],
        charges=[Charge(ChargeKind.FREIGHT, Decimal("18.00"), SpreadBy.VALUE)],
        happened_at=bench.at(days_ago, 9),
        release_basis=SEEN,
        reference="delivery note 30388",
        condition="one carton dented, jars whole",
        order=order.id,
    )
    bench.does(
        correct_line,
        order=order.id,
        line=tins.id,
        changes=Changes(expected_on=bench.day(-3)),
        reason="the supplier is waiting for tins",
        happened_at=bench.at(days_ago, 11),
    )


def bottles_ordered(bench: Bench, days_ago: int) -> None:
    """Bottles are ordered by mail."""
    order = bench.does(
        write_order,
        supplier=bench.suppliers["packaging"],
        lines=[
            Ordered(
                str(bench.materials["bottle 200"]),
                parse_quantity("400 each"),
                Decimal("152.00"),
                expected_on=bench.day(days_ago) + timedelta(days=9),
            ),
        ],
        happened_at=bench.at(days_ago, 14),
    )
    bench.does(send_order, order=order.id, happened_at=bench.at(days_ago, 14, 5))


def lotion_separated(bench: Bench, days_ago: int) -> None:
    """A shop complains of a lotion that has separated; the retained bottle is looked at."""
    complaint = bench.does(
        log_complaint,
        received_on=bench.day(days_ago),
        today=bench.day(days_ago),
        what_happened="two bottles have separated: a clear layer at the bottom",
        customer="corner shop",
        batch_code=bench.lots["lotion 200"][-1].code,
    )
    bench.does(
        add_fact,
        complaint=complaint.id,
        kind="note",
        on=bench.day(days_ago - 1),
        today=bench.day(days_ago - 1),
        text="the retained bottle is whole; the shop keeps them beside a stove",
    )


def balm_made_red(bench: Bench, days_ago: int) -> None:
    """Somebody's skin was red for a day; it is told, followed and closed."""
    complaint = bench.does(
        log_complaint,
        received_on=bench.day(days_ago),
        today=bench.day(days_ago),
        what_happened="skin red for a day where the balm was put",
        adverse=True,
        customer="market stall",
        batch_code=bench.lots["balm 30"][-1].code,
    )
    for later, kind, text in (
        (2, "note", "she has an allergy to beeswax and had not read the label"),
        (3, "closed", "nothing more to do"),
    ):
        day = bench.day(days_ago - later)
        bench.does(add_fact, complaint=complaint.id, kind=kind, on=day, today=day, text=text)


PAPERS: Final = (
    Incident(60, "north", hand_wash_should_cost),
    Incident(60, "mill", lotion_should_cost),
    Incident(4, "quay", jars_came_and_no_tins),
    Incident(1, "mill", bottles_ordered),
    Incident(10, "mill", lotion_separated),
    Incident(12, "quay", balm_made_red),
)
