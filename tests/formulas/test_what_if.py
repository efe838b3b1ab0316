"""What another price would do, to every formula and product that contains the material."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.errors import CostUnknown
from formulas.unit_costs import unit_cost_of
from formulas.what_if import Change, WhatIf, levels_of, what_if
from ledger.access import acting_as
from ledger.errors import Invalid, NotFound
from ledger.models import Material
from tests.factories import D, Workshop, open_workshop


def bought(shop: Workshop, name: str, quantity: str, price: str, **facts: str) -> Material:
    material = shop.material(name, **facts)
    shop.receive(material, quantity, price)
    return material


def asked(shop: Workshop, *changes: Change, **facts: object) -> WhatIf:
    return shop.does(what_if, changes=changes, **facts)


def test_a_price_goes_through_intermediates_to_units_and_prices(shop: Workshop) -> None:
    """Oil from 9 to 18 a kilogram: the infusion (90 %, a quarter lost) 10.80 dearer, the balm
    (40 % of it, 4 % lost) 4.50, a tin of 60 g 0.27; at a margin of 60 % its price 0.675."""
    oil, leaf = bought(shop, "Oil", "10 kg", "90.00"), bought(shop, "Leaf", "1 kg", "30.00")
    wax = bought(shop, "Wax", "5 kg", "60.00")
    infusion = shop.formula("Infusion", [(oil, "90"), (leaf, "10")], loss="25")
    balm = shop.formula("Balm", [(infusion, "40"), (wax, "60")], loss="4")
    shop.formula("Stick", [(wax, "100")])
    tin = shop.product(balm, "60 g", minutes_per_batch=D(60), hourly_rate=D(20))
    shop.product(infusion, "10 g")
    found = asked(shop, Change(oil.id, price=D(18)), batch_units=40, margin_percent=D(60))
    assert [(one.name, one.per_kg.old, one.per_kg.new) for one in found.formulas] == [
        ("Infusion", D("14.8"), D("25.6")),
        ("Balm", D("13.666667"), D("18.166667")),
    ]
    assert (found.formulas_changed, found.products_changed) == (2, 2)
    first = found.products[0]
    assert first.name == "Balm 60 g"
    assert (first.per_unit.old, first.per_unit.new) == (D("1.32"), D("1.59"))
    assert (first.price.old, first.price.new) == (D("3.3"), D("3.975"))
    exact = shop.does(unit_cost_of, product=tin.id, units=40)
    assert first.per_unit.old == exact.cost.per_unit
    assert asked(shop, Change(oil.id, change_percent=D(100)), batch_units=40).formulas == (
        found.formulas
    )
    assert len(asked(shop, Change(oil.id, price=D(18)), limit=1).formulas) == 1


def test_packaging_counts_too(shop: Workshop) -> None:
    wax = bought(shop, "Wax", "5 kg", "60.00")
    tin = bought(shop, "Tin", "100 each", "40.00", measured_by="count")
    shop.product(shop.formula("Balm", [(wax, "100")]), "50 g", [(tin, "2 each")])
    found = asked(shop, Change(tin.id, change_percent=D("-50")))
    assert found.formulas == ()
    (product,) = found.products
    assert (product.per_unit.old, product.per_unit.new) == (D("1.4"), D("1"))
    assert product.price.new is None


def test_a_new_version_is_heard(shop: Workshop) -> None:
    oil, wax = bought(shop, "Oil", "1 kg", "10.00"), bought(shop, "Wax", "1 kg", "20.00")
    balm = shop.formula("Balm", [(oil, "50"), (wax, "50")])
    double = Change(oil.id, price=D(20))
    assert asked(shop, double).formulas[0].per_kg.new == 20
    with acting_as(shop.actor):
        assert levels_of(shop.actor) is levels_of(shop.actor)
    shop.next_version(balm, [(oil, "10"), (wax, "90")], expected=1)
    (moved,) = asked(shop, double).formulas
    assert (moved.per_kg.old, moved.per_kg.new) == (D(19), D(20))
    shop.formula("Oil rub", [(oil, "100")])
    assert asked(shop, double).formulas_changed == 2


def test_what_nobody_knows_the_cost_of(shop: Workshop) -> None:
    oil, leaf = bought(shop, "Oil", "1 kg", "10.00"), shop.material("Leaf")
    shop.product(shop.formula("Rub", [(oil, "50"), (leaf, "50")]), "50 g")
    found = asked(shop, Change(oil.id, price=D(20)))
    assert (found.formulas[0].per_kg.old, found.products[0].per_unit.new) == (None, None)
    known = asked(shop, Change(leaf.id, price=D(30)))
    assert (known.formulas[0].per_kg.old, known.formulas[0].per_kg.new) == (None, D(20))
    with pytest.raises(CostUnknown) as refusal:
        asked(shop, Change(leaf.id, change_percent=D(10)))
    assert refusal.value.pointer == "/materials/0/change_percent"


def test_what_cannot_be_asked(shop: Workshop) -> None:
    oil = bought(shop, "Oil", "1 kg", "10.00")
    made = shop.formula("Rub", [(oil, "100")]).formula.material
    for changes, pointer in (
        ([Change(oil.id)], "/materials/0"),
        ([Change(oil.id, D(1), D(1))], "/materials/0"),
        ([Change(oil.id, D(1)), Change(oil.id, D(2))], "/materials/1/material"),
        ([Change(made.id, D(1))], "/materials/0/material"),
        ([Change(oil.id, change_percent=D(-101))], "/materials/0/change_percent"),
    ):
        with pytest.raises(Invalid) as refusal:
            asked(shop, *changes)
        assert refusal.value.pointer == pointer
    with pytest.raises(NotFound):
        asked(open_workshop(), Change(oil.id, D(1)))


def test_more_products_take_no_more_queries(shop: Workshop) -> None:
    oil = bought(shop, "Oil", "1 kg", "10.00")
    tin = bought(shop, "Tin", "9 each", "9.00", measured_by="count")

    def queries() -> int:
        with (
            acting_as(shop.actor),
            CaptureQueriesContext(
                connection,
            ) as seen,
        ):
            what_if(shop.actor, changes=[Change(oil.id, price=D(1))])
        return len(seen)

    for number in range(2):
        shop.product(shop.formula(f"Rub {number}", [(oil, "100")]), "50 g", [(tin, "1 each")])
    few = queries()
    for number in range(2, 7):
        shop.product(shop.formula(f"Rub {number}", [(oil, "100")]), "50 g", [(tin, "1 each")])
    assert queries() == few <= 9
