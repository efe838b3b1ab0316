"""What a unit costs as planned today: materials through all losses, packaging, labour, overhead."""

from dataclasses import replace
from typing import Any

import pytest

from formulas.errors import CostUnknown
from formulas.ladder import Channel
from formulas.models import Product
from formulas.prices import Cost, CostFrom, price_product
from formulas.unit_costs import unit_cost_of
from ledger.access import acting_as
from ledger.entries import reverse_entry
from ledger.errors import Forbidden
from ledger.issuing import Taken, issue
from ledger.models import ReceiptLine
from ledger.present_costs import Basis, present_costs
from ledger.quantities import parse_quantity
from tests.factories import D, Workshop, on

LATER = on("2025-05-09")
POLICY: dict[str, Any] = {
    "minutes_per_batch": D(60),
    "minutes_per_unit": D("0.5"),
    "hourly_rate": D(24),
    "overhead_per_batch": D(5),
    "overhead_percent": D(10),
}


def infused(shop: Workshop) -> Product:
    """A balm of 40 % infused oil and 60 % wax; the infusion of leaf in oil loses a quarter."""
    oil, leaf, wax = (shop.material(name) for name in ("Oil", "Leaf", "Wax"))
    tin = shop.material("Tin", measured_by="count")
    for material, quantity, price in (
        (oil, "10 kg", "90.00"),
        (leaf, "1 kg", "30.00"),
        (wax, "5 kg", "60.00"),
        (tin, "100 each", "40.00"),
    ):
        shop.receive(material, quantity, price)
    infusion = shop.formula("Infusion", [(oil, "90"), (leaf, "10")], loss="25")
    balm = shop.formula("Balm", [(infusion, "40"), (wax, "60")], loss="4")
    return shop.product(balm, "60 g", [(tin, "1 each")], **POLICY)


def test_a_unit_carries_every_loss(shop: Workshop) -> None:
    """The infusion costs (0.9 · 9 + 0.1 · 30) ÷ 0.75 = 14.80 a kilogram, the balm
    (0.4 · 14.80 + 0.6 · 12) ÷ 0.96 = 13.666667: 0.82 for 60 g. A hundred units: 82 + 40 +
    110 minutes at 24 an hour (44) + 5 + 8.20 = 179.20."""
    found = shop.does(unit_cost_of, product=infused(shop).id, units=100)
    cost = found.cost
    assert (cost.materials, cost.packaging, cost.labour, cost.overhead) == (
        D(82),
        D(40),
        D(44),
        D("13.2"),
    )
    assert (cost.per_unit, found.fill_grams) == (D("1.792"), D(60))
    assert [(one.cost.name, one.quantity, one.value) for one in found.materials] == [
        ("Wax", D("37.5"), D("0.45")),
        ("Oil", D("30"), D("0.27")),
        ("Leaf", D("3.333333"), D("0.1")),
    ]
    assert sum(one.value for one in found.materials) == D("0.82")


def test_the_batch_is_as_large_as_the_last_one(shop: Workshop) -> None:
    wax = shop.material("Wax")
    shop.receive(wax, "10 kg", "100.00")
    balm = shop.product(shop.formula("Balm", [(wax, "100")]), "100 g", **POLICY)
    assert shop.does(unit_cost_of, product=balm.id).units == 100
    planned = shop.plan(balm, 20)
    shop.weigh_all(planned)
    made = shop.finish(planned, "2 kg", units=20)
    found = shop.does(unit_cost_of, product=balm.id)
    assert found.units == 20
    (last,) = found.last
    assert (last.units, last.per_unit, last.lot_id) == (20, made.cost.per_unit, made.lot.id)
    assert found.cost == made.cost, "what was planned and what was made cost the same"


def test_present_costs_are_of_the_store_then_of_the_last_delivery(shop: Workshop) -> None:
    oil, wax, leaf = (shop.material(name) for name in ("Oil", "Wax", "Leaf"))
    water = shop.water(cost_per_kg=D("0.002"))
    shop.receive(oil, "1 kg", "10.00")
    shop.receive(oil, "3 kg", "18.00", at=on("2025-05-07"))
    lot = shop.receive(wax, "1 kg", "10.00")
    again = shop.receive(wax, "1 kg", "14.00", at=on("2025-05-07"))
    wasted = shop.receive(wax, "1 kg", "99.00", at=on("2025-05-08"))
    with acting_as(shop.actor):
        entry = ReceiptLine.objects.get(lot=wasted).receipt.entry_id
        reverse_entry(shop.actor, entry=entry, reason="never came", happened_at=LATER)
        used = [Taken(one.id, parse_quantity("1 kg")) for one in (lot, again)]
        issue(shop.actor, lines=used, purpose="tester", reason="fair", happened_at=LATER)
        found = present_costs(shop.actor, [oil.id, wax.id, leaf.id, water.id])
    shown = {one.name: (one.shown, one.basis) for one in found.values()}
    assert shown == {
        "Oil": (D(7), Basis.STORE),
        "Wax": (D(14), Basis.LAST_RECEIPT),
        "Leaf": (None, Basis.UNKNOWN),
        "Aqua": (D("0.002"), Basis.STATED),
    }


def test_what_costs_nobody_knows_is_named(shop: Workshop) -> None:
    leaf = shop.material("Leaf")
    balm = shop.product(shop.formula("Balm", [(leaf, "100")]), "60 g")
    with pytest.raises(CostUnknown, match="Leaf") as refusal:
        shop.does(unit_cost_of, product=balm.id)
    assert refusal.value.facts["material"] == str(leaf.id)


def test_a_price_on_present_costs(shop: Workshop) -> None:
    price = shop.does(
        price_product,
        product=infused(shop).id,
        channel=Channel("Shop", margin_percent=D(60)),
        cost=Cost(source=CostFrom.PRESENT, units=100),
    )
    assert (price.unit_cost, price.price) == (D("1.792"), D("4.48"))


def test_only_who_may_see_costs(shop: Workshop) -> None:
    product = infused(shop)
    bench = replace(shop.actor, role="bench")
    with acting_as(bench), pytest.raises(Forbidden):
        unit_cost_of(bench, product=product.id)
