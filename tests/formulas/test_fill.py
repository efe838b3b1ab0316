"""Filling bulk into units: several sizes from one bulk, packaging and labour by the unit."""

from datetime import date

import pytest

from formulas.drawing import Sample
from formulas.fill_reading import bulk_waiting, units_seen
from formulas.filling import Filled, fill
from formulas.models import FormulaVersion, Product
from formulas.undoing import undo
from formulas.unit_costs import latest_unit_cost
from formulas.unit_weighings import Weighed, choose_rule, units_of_fill, weigh_units
from ledger.access import acting_as
from ledger.errors import DensityMissing, Invalid, LotNotReleased, NotEnough
from ledger.models import Account, Entry, Lot, Status
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Workshop, on


def bulk_of(shop: Workshop, density: str = "1.02 g/mL") -> tuple[FormulaVersion, Lot]:
    """10 kg of bulk that cost 100.00, to be used within the year."""
    material = shop.material("Glycerin")
    shop.receive(material, "10 kg", "100.00", expires_on=date(2025, 12, 31))
    formula = shop.formula("Shampoo", [(material, "100")], density=density)
    return formula, shop.made_lot(formula, "10000")


def bottled(shop: Workshop, formula: FormulaVersion, size: str = "250 mL") -> tuple[Product, Lot]:
    bottle = shop.material(f"Bottle {size}", measured_by="count")
    lot = shop.receive(bottle, "50 each", "25.00")
    facts = {"minutes_per_batch": D(99), "minutes_per_unit": D(1), "hourly_rate": D(12)}
    product = shop.product(formula, size, [(bottle, "1 each")], overfill_percent=D(2), **facts)
    return product, lot


def filled(
    shop: Workshop, product: Product, lot: Lot, units: int, used: str = "", deviation: str = ""
) -> Filled:
    return shop.does(
        fill,
        product=product.id,
        lot=lot.id,
        units=units,
        used=parse_quantity(used) if used else None,
        happened_at=MORNING,
        release_basis="checked",
        deviation=deviation,
    )


def test_units_carry_bulk_packaging_and_their_labour(shop: Workshop) -> None:
    """Ten of 250 mL at 1.02 g/mL with 2 % more hold 2,601 g; 2,650 g were used."""
    formula, bulk = bulk_of(shop)
    product, bottles = bottled(shop, formula)
    done = filled(shop, product, bulk, 10, "2650 g")
    assert done.nominal_grams == 2601
    filling = done.filling
    assert (filling.bulk, filling.packaging, filling.labour) == (D("26.5"), 5, 2)
    assert (done.total, done.per_unit) == (D("33.5"), D("3.35"))
    assert shop.held(done.lot) == (10, D("33.5"))
    assert shop.held(bulk) == (7350, D("73.5"))
    assert shop.held(bottles)[0] == 40
    assert (done.lot.expires_on, done.lot.made_in_id) == (date(2025, 12, 31), bulk.made_in_id)
    assert bulk.code in done.lot.dates_note
    with acting_as(shop.actor):
        assert latest_unit_cost(product) == D("3.35")


def test_several_sizes_from_one_bulk_and_the_rest_stays(shop: Workshop) -> None:
    formula, bulk = bulk_of(shop)
    large, _ = bottled(shop, formula, "500 g")
    small, _ = bottled(shop, formula, "100 g")
    assert filled(shop, large, bulk, 10).filling.used_grams == 5100
    assert filled(shop, small, bulk, 20).filling.used_grams == 2040
    assert shop.held(bulk) == (2860, D("28.6"))
    with pytest.raises(NotEnough) as refusal:
        filled(shop, small, bulk, 29)
    assert refusal.value.pointer == "/used"


def test_only_its_own_bulk_and_only_when_it_may_be_used(shop: Workshop) -> None:
    formula, bulk = bulk_of(shop)
    product, bottles = bottled(shop, formula)
    with pytest.raises(Invalid) as refusal:
        filled(shop, product, bottles, 1)
    assert refusal.value.pointer == "/lot"
    shop.decide(bulk, "hold")
    with pytest.raises(LotNotReleased) as held:
        filled(shop, product, bulk, 1)
    assert held.value.pointer == "/lot"
    done = filled(shop, product, bulk, 1, deviation="for a test of the label").filling
    assert (done.deviation, done.overrode) == ("for a test of the label", ["status"])
    with acting_as(shop.actor):
        assert Entry.objects.get(id=done.entry_id).details["overrode"] == ["status"]
    shop.decide(bulk, "reject")
    with pytest.raises(LotNotReleased, match="rejected"):
        filled(shop, product, bulk, 1)


def test_without_a_density_the_bulk_used_must_be_said(shop: Workshop) -> None:
    formula, bulk = bulk_of(shop, density="")
    product, _ = bottled(shop, formula)
    with pytest.raises(DensityMissing) as refusal:
        filled(shop, product, bulk, 4)
    assert refusal.value.pointer == "/used"
    with pytest.raises(DensityMissing) as measured:
        filled(shop, product, bulk, 4, "1 L")
    assert measured.value.pointer == "/used"
    assert filled(shop, product, bulk, 4, "1 kg").nominal_grams is None


def test_more_units_than_packaging(shop: Workshop) -> None:
    formula, bulk = bulk_of(shop)
    product, _ = bottled(shop, formula, "100 g")
    with pytest.raises(NotEnough, match="51 of Bottle 100 g are needed"):
        filled(shop, product, bulk, 51)
    assert shop.held(bulk)[0] == 10000


def test_samples_of_a_fill(shop: Workshop) -> None:
    formula, bulk = bulk_of(shop)
    product, _ = bottled(shop, formula)
    done = shop.does(
        fill,
        product=product.id,
        lot=bulk.id,
        units=10,
        used=parse_quantity("2650 g"),
        happened_at=on("2025-05-07"),
        samples=[Sample(parse_quantity("2 each"), "retained")],
    )
    assert done.status == Status.QUARANTINE
    assert shop.held(done.lot) == (8, D("26.8"))
    assert shop.held(done.lot, Account.Kind.ISSUE) == (2, D("6.7"))
    shop.does(
        undo, entry=done.filling.entry_id, reason="wrong bottle", happened_at=MORNING.replace(day=8)
    )
    assert shop.held(done.lot) == (0, 0)
    assert shop.held(bulk) == (10000, 100)


@pytest.mark.parametrize("size", ["250 g", "250 mL"])
def test_weights_have_the_limits_of_a_rule_that_was_chosen_since(shop: Workshop, size: str) -> None:
    """The directive lets few units of 250 g or mL lack 9 of them; 250 mL at 1.02 g/mL are 255 g."""
    formula, bulk = bulk_of(shop)
    product, _ = bottled(shop, formula, size)
    of = shop.does(units_of_fill, filled(shop, product, bulk, 10).filling.id)
    weighed = [Weighed(net=parse_quantity("256 g"))] * 2
    shop.does(weigh_units, of=of, weighed=weighed, happened_at=MORNING, now=MORNING)
    shop.does(choose_rule, product=product.id, rule="eu", allowed=None)
    seen = shop.does(units_seen, of=of, now=MORNING)
    assert seen.chosen_since
    assert seen.limits is not None
    assert seen.limits.short == (D(241) if size == "250 g" else D("245.82"))


def test_bulk_waits_to_be_filled_once_no_formula_in_force_wants_it(shop: Workshop) -> None:
    formula, _ = bulk_of(shop)
    salt = shop.material("Salt")
    of_it = shop.formula("Bath milk", [(formula, "60"), (salt, "40")])
    assert shop.does(bulk_waiting) == []
    shop.next_version(of_it, [(salt, "100")])
    (waiting,) = shop.does(bulk_waiting)
    assert (waiting.making.batch.version_id, waiting.product) == (formula.id, False)


@pytest.mark.parametrize("size", ["250 g", "250 mL"])
def test_a_rule_that_never_changed_is_not_told_as_changed(shop: Workshop, size: str) -> None:
    """250 mL are 255.30864195 g, of which six decimals are kept."""
    formula, bulk = bulk_of(shop, "1.0212345678 g/mL")
    product, _ = bottled(shop, formula, size)
    shop.does(choose_rule, product=product.id, rule="eu", allowed=None)
    of = shop.does(units_of_fill, filled(shop, product, bulk, 10).filling.id)
    weighed = [Weighed(net=parse_quantity("256 g"))] * 2
    shop.does(weigh_units, of=of, weighed=weighed, happened_at=MORNING, now=MORNING)
    seen = shop.does(units_seen, of=of, now=MORNING)
    assert (seen.changed_since, seen.chosen_since) == (False, False)
    shop.does(choose_rule, product=product.id, rule="us", allowed=None)
    assert shop.does(units_seen, of=of, now=MORNING).changed_since
