"""Products: fill, packaging, changes, what units need, and prices."""

from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError

from formulas.access import product_for
from formulas.balances import scale_product
from formulas.errors import UnitCostMissing
from formulas.ladder import Channel
from formulas.prices import Cost, price_product
from formulas.products import PackagingDraft, ProductDraft, change_product
from ledger.access import acting_as
from ledger.errors import (
    CountNotWhole,
    DensityMissing,
    Invalid,
    NotFound,
    Refusal,
    Stale,
    UnitWrong,
)
from ledger.models import Material
from ledger.quantities import parse_quantity
from tests.factories import TODAY, D, Workshop, open_workshop


def test_sixty_bottles(shop: Workshop) -> None:
    """Sixty of 250 mL, 2 % overfill, 1.02 g/mL, 3 % loss: 260.10 g each, 16,088.66 g in the pot."""
    water, bottle = shop.water(), shop.material("Bottle", measured_by="count")
    shop.receive(bottle, "50 each", "25.00")
    formula = shop.formula("Shampoo", [(water, "100")], loss="3", density="1.02 g/mL")
    product = shop.product(formula, "250 mL", [(bottle, "1 each")], overfill_percent=D(2))
    assert product.material.mass_each == D("260.1")
    assert (product.material.counted, product.material.cost_class) == (True, "product")
    needs = shop.does(scale_product, product=product.id, units=60, day=TODAY)
    assert needs.fill_grams == D("260.1")
    assert needs.scaled.output_grams == 15606
    assert needs.scaled.batch_grams == D("16088.66")
    (need,) = needs.packaging
    assert need.quantity == 60
    assert need.available == 50
    assert need.short == 10
    planned = shop.plan(product, 60)
    assert planned.batch.fill_grams == D("260.1")
    assert planned.batch.output_grams == 15606


def test_a_fill_by_volume_needs_the_density_when_it_is_scaled(shop: Workshop) -> None:
    product = shop.product(shop.formula("Shampoo", [(shop.water(), "100")]), "250 mL")
    assert product.material.mass_each is None
    with pytest.raises(DensityMissing) as refusal:
        shop.does(scale_product, product=product.id, units=60, day=TODAY)
    assert "'Shampoo'" in refusal.value.detail


@pytest.mark.parametrize(
    ("nominal", "count", "refused", "pointer"),
    [
        ("3 each", "1 each", UnitWrong, "/fill/nominal"),
        ("2 tonne", "1 each", Invalid, "/fill/nominal"),
        ("100 g", "5 g", UnitWrong, "/packaging/0/quantity"),
        ("100 g", "0.5 each", CountNotWhole, "/packaging/0/quantity"),
        ("100 g", "10001 each", Invalid, "/packaging/0/quantity"),
    ],
)
def test_what_a_product_cannot_be(
    shop: Workshop, nominal: str, count: str, refused: type[Refusal], pointer: str
) -> None:
    formula = shop.formula("Balm", [(shop.material("Wax"), "100")])
    tin = shop.material("Tin", measured_by="count")
    with pytest.raises(refused) as refusal:
        shop.product(formula, nominal, [(tin, count)])
    assert refusal.value.pointer == pointer
    with acting_as(shop.actor):
        assert not Material.objects.filter(cost_class="product").exists()


def test_packaging_is_counted(shop: Workshop) -> None:
    wax = shop.material("Wax")
    with pytest.raises(Invalid) as refusal:
        shop.product(shop.formula("Balm", [(wax, "100")]), "100 g", [(wax, "1 each")])
    assert refusal.value.pointer == "/packaging/0/material"


def test_packaging_comes_out_of_the_store(shop: Workshop) -> None:
    twine = shop.material("Twine", measured_by="count", stocked=False)
    formula = shop.formula("Balm", [(shop.material("Wax"), "100")])
    with pytest.raises(Invalid, match="Twine is not stocked") as refusal:
        shop.product(formula, "100 g", [(twine, "1 each")])
    assert refusal.value.pointer == "/packaging/0/material"


def test_a_unit_weighs_what_the_density_in_force_says(shop: Workshop) -> None:
    """250 mL at 1.02 g/mL are 255 g, and at 1.04 g/mL 260 g; 100 g stay 100 g."""
    lines = [(shop.water(), "100")]
    formula = shop.formula("Shampoo", lines, density="1.02 g/mL")
    bottle, tin = shop.product(formula, "250 mL"), shop.product(formula, "100 g")

    def seen() -> list[tuple[Any, int]]:
        with acting_as(shop.actor):
            found = [product_for(shop.actor, one.id).material for one in (bottle, tin)]
        return [(material.mass_each, material.version) for material in found]

    assert seen() == [(255, 1), (100, 1)]
    shop.next_version(formula, lines, density="1.04 g/mL")
    assert seen() == [(260, 2), (100, 1)]
    shop.next_version(formula, lines)
    assert seen() == [(None, 3), (100, 1)]


def test_who_may_not_see_costs_leaves_them_as_they_were(shop: Workshop) -> None:
    formula = shop.formula("Balm", [(shop.material("Wax"), "100")])
    costs = {"hourly_rate": D(18), "overhead_per_batch": D(5), "overhead_percent": D(2)}
    product = shop.product(formula, "100 g", (), minutes_per_unit=D(1), **costs)
    draft = ProductDraft("Balm", str(formula.formula_id).upper(), parse_quantity("90 g"))
    bench = replace(shop, actor=replace(shop.actor, role="bench"))
    bench.does(change_product, product=product.id, expected_version=1, draft=draft)
    changed = shop.does(product_for, product.id)
    assert {name: getattr(changed, name) for name in costs} == costs
    assert (changed.fill_grams, changed.minutes_per_unit) == (90, 0)
    shop.does(change_product, product=product.id, expected_version=2, draft=draft)
    changed = shop.does(product_for, product.id)
    assert {getattr(changed, name) for name in costs} == {0}


def test_a_change_leaves_planned_batches_as_they_are(shop: Workshop) -> None:
    formula = shop.formula("Balm", [(shop.material("Wax"), "100")])
    tin, box = (shop.material(name, measured_by="count") for name in ("Tin", "Box"))
    product = shop.product(formula, "100 g", [(tin, "1 each")])
    planned = shop.plan(product, 10)
    draft = ProductDraft(
        name="Large balm",
        formula=str(formula.formula_id),
        nominal=parse_quantity("200 g"),
        packaging=[PackagingDraft(box.id, parse_quantity("2 each"))],
    )
    changed = shop.does(change_product, product=product.id, expected_version=1, draft=draft)
    assert changed.version == 2
    with acting_as(shop.actor):
        again = product_for(shop.actor, product.id)
        assert again.name == again.material.name == "Large balm"
        assert [(item.material.name, item.quantity) for item in again.packaging.all()] == [
            ("Box", 2)
        ]
    assert shop.batch(planned).fill_grams == 100
    with pytest.raises(Stale):
        shop.does(change_product, product=product.id, expected_version=1, draft=draft)
    other = shop.formula("Other", [(shop.material("Oil"), "100")])
    moved = ProductDraft("Balm", other.formula_id, parse_quantity("1 g"))
    with pytest.raises(Invalid) as refusal:
        shop.does(change_product, product=product.id, expected_version=2, draft=moved)
    assert refusal.value.pointer == "/formula"


def test_a_price_from_a_given_cost_or_none(shop: Workshop) -> None:
    """(2.35 + 0.30) ÷ (1 - 0.60 - 0.065) is 7.9104."""
    product = shop.product(shop.formula("Balm", [(shop.material("Wax"), "100")]), "100 g")
    channel = Channel("Shop", D(60), fee_percent=D("6.5"), fixed_fee=D("0.30"))
    price = shop.does(price_product, product=product.id, channel=channel, cost=Cost(D("2.35")))
    assert price.price.quantize(D("0.0001")) == D("7.9104")
    with pytest.raises(UnitCostMissing) as refusal:
        shop.does(price_product, product=product.id, channel=channel)
    assert refusal.value.pointer == "/unit_cost"
    with pytest.raises(NotFound):
        open_workshop().does(price_product, product=product.id, channel=channel)


def test_how_and_where_it_is_used_is_known_once_it_is_said(shop: Workshop) -> None:
    formula = shop.formula("Cream", [(shop.material("Oil"), "100")])
    silent = shop.product(formula, "50 g")
    assert (silent.use, silent.areas) == ("", [])
    told = shop.product(formula, "30 g", use="leave_on", areas=["baby", "eye", "baby"])
    assert (told.use, told.areas) == ("leave_on", ["eye", "baby"])
    for facts, pointer in (({"use": "drink"}, "/use"), ({"areas": ["eye", "ear"]}, "/areas/1")):
        with pytest.raises(Invalid) as refusal:
            shop.product(formula, "10 g", (), **facts)
        assert refusal.value.pointer == pointer


@pytest.mark.parametrize(
    ("facts", "constraint"),
    [({"use": "drink"}, "product_use_known"), ({"areas": ["ear"]}, "product_areas_known")],
)
def test_the_database_knows_the_uses_too(
    shop: Workshop, facts: dict[str, Any], constraint: str
) -> None:
    product = shop.product(shop.formula("Cream", [(shop.material("Oil"), "100")]), "50 g")
    with pytest.raises(IntegrityError, match=constraint), acting_as(shop.actor):
        type(product).objects.filter(id=product.id).update(**facts)
