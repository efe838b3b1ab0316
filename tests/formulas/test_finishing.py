"""Finishing: cost, yield and loss, packaging, samples, dates of what is made."""

import threading
from datetime import date
from decimal import Decimal

import pytest
from django.db import connections

from formulas.costing import shown
from formulas.errors import AlreadyFinished, NothingWeighed
from formulas.ladder import Channel
from formulas.models import FormulaVersion
from formulas.prices import price_product
from formulas.unit_costs import latest_unit_cost
from ledger.access import acting_as
from ledger.errors import Invalid, MoneyTooLarge, NotEnough
from ledger.models import Account, Lot, Posting, Status
from tests.factories import MORNING, D, Workshop, on

LABOUR_AND_OVERHEAD = {
    "minutes_per_batch": D(60),
    "minutes_per_unit": D("0.5"),
    "hourly_rate": D(24),
    "overhead_per_batch": D(5),
    "overhead_percent": D(10),
}


def simple(shop: Workshop, price: str = "160.00", loss: str = "3") -> tuple[FormulaVersion, Lot]:
    """A formula of one material, of which 10 kg are in store at a price."""
    material = shop.material("Glycerin")
    lot = shop.receive(material, "10 kg", price)
    return shop.formula("Base", [(material, "100")], loss=loss, density="1 g/mL"), lot


def test_normal_loss_raises_the_cost_of_what_is_good(shop: Workshop) -> None:
    """160 over 10 kg with a loss of 3 % is 16.4948 a kilogram."""
    formula, _ = simple(shop)
    planned = shop.plan(formula, "10 kg")
    shop.weigh_all(planned)
    finished = shop.finish(planned, "9700 g")
    assert finished.cost.per_kg == D("16.494845")
    assert (finished.cost.total, finished.cost.abnormal) == (D(160), D(0))
    yielded = finished.yielded
    assert (yielded.yield_percent, yielded.plan_percent) == (D(97), D(100))
    assert (yielded.expected_grams, yielded.actual_grams, yielded.beyond_grams) == (
        D(300),
        D(300),
        D(0),
    )
    assert shop.held(finished.lot) == (9700, 160)
    assert finished.status == Status.RELEASED
    assert finished.lot.code.startswith("NB")


def test_abnormal_loss_is_expensed(shop: Workshop) -> None:
    """7.2 kg of 9.7 kg lost: 118.76 is an expense, 41.24 stays with 2.5 kg."""
    formula, _ = simple(shop)
    planned = shop.plan(formula, "10 kg")
    shop.weigh_all(planned)
    finished = shop.finish(planned, "2.5 kg", lost="7.2 kg")
    assert finished.cost.per_kg == D("16.494845")
    cost = shown(finished.cost, "USD")
    assert (cost.inputs, cost.abnormal, cost.total) == (D(160), D("118.76"), D("41.24"))
    with acting_as(shop.actor):
        expensed = Posting.objects.get(entry_id=finished.making.entry_id, account__kind="loss")
    assert expensed.value == finished.cost.abnormal == D("118.762887")
    assert shop.held(finished.lot) == (2500, D("41.237113"))
    assert (finished.yielded.actual_grams, finished.yielded.beyond_grams) == (D(300), D(0))


def test_loss_beyond_the_expected_is_shown_and_carried(shop: Workshop) -> None:
    formula, _ = simple(shop)
    planned = shop.plan(formula, "10 kg")
    shop.weigh_all(planned)
    finished = shop.finish(planned, "9.5 kg")
    assert finished.yielded.beyond_grams == 200
    assert shop.held(finished.lot) == (9500, 160)


def test_minutes_that_were_recorded_stand_before_those_of_the_policy(shop: Workshop) -> None:
    """The policy says 60 + 10 · 0.5 = 65 minutes; 90 at 24 an hour are 36."""
    formula, _ = simple(shop, loss="0")
    product = shop.product(formula, "100 g", (), **LABOUR_AND_OVERHEAD)
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    for wrong in ("-1", "NaN", "100001"):
        with pytest.raises(Invalid) as refused:
            shop.finish(planned, "1 kg", units=10, labour_minutes=D(wrong))
        assert refused.value.pointer == "/labour_minutes"
    finished = shop.finish(planned, "1 kg", units=10, labour_minutes=D(90))
    assert finished.cost.labour == D(36)
    assert finished.making.labour_minutes == 90
    assert finished.making.minutes_per_batch == 60, "the policy is kept beside it"


def test_bulk_of_no_product_carries_no_labour(shop: Workshop) -> None:
    formula, _ = simple(shop)
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned)
    with pytest.raises(Invalid, match="no hourly rate"):
        shop.finish(planned, "970 g", labour_minutes=D(30))
    assert shop.finish(planned, "970 g").cost.labour == 0


def test_an_intermediate_carries_the_cost_of_its_marc(shop: Workshop) -> None:
    """100 g herb at 22.00 and 900 g humectant at 11.5460 give 750 g at 16.79 a kilogram."""
    herb, glycerin = shop.material("Herb"), shop.material("Glycerin", density="1.26 g/mL")
    shop.receive(herb, "1 kg", "22.00")
    shop.receive(glycerin, "4 gal", "186.00", freight="34.28")
    glycerite = shop.formula("Glycerite", [(herb, "10"), (glycerin, "90")], loss="25")
    planned = shop.plan(glycerite, "1 kg")
    shop.weigh_all(planned)
    finished = shop.finish(planned, "750 g")
    assert finished.cost.per_kg.quantize(D("0.01")) == D("16.79")
    # And the batch that it goes into carries that cost on.
    bulk = shop.formula("Shampoo", [(glycerin, "97"), (glycerite, "3")])
    into = shop.plan(bulk, "10 kg")
    assert into.lines[1].picks[0].lot_id == finished.lot.id
    shop.weigh_all(into)
    made = shop.finish(into, "10 kg")
    share = (finished.cost.total * 300 / 750).quantize(D("0.000001"))
    glycerin_cost = D("220.28") * 9700 / D("19078.475387")
    assert abs(made.cost.materials - share - glycerin_cost) < D("0.00001")


def bottles(
    shop: Workshop, count: str = "100 each", **policy: Decimal
) -> tuple[FormulaVersion, dict[str, Lot]]:
    formula, _ = simple(shop, "100.00", loss="0")
    bottle, cap = (shop.material(name, measured_by="count") for name in ("Bottle", "Cap"))
    lots = {
        "bottle": shop.receive(bottle, count, "50.00"),
        "cap": shop.receive(cap, "100 each", "10.00"),
    }
    return formula, lots


def test_units_carry_packaging_labour_and_overhead(shop: Workshop) -> None:
    """60 bottles of 100 g: bulk 60.00, packaging 36.00, 90 minutes at 24.00, 5.00 and 10 %."""
    formula, lots = bottles(shop)
    product = shop.product(
        formula,
        "100 g",
        [(lots["bottle"].material, "1 each"), (lots["cap"].material, "1 each")],
        **LABOUR_AND_OVERHEAD,
    )
    planned = shop.plan(product, 60)
    assert [(one.count, one.picks[0].quantity) for one in planned.packaging] == [
        (D(60), D(60)),
        (D(60), D(60)),
    ]
    assert shop.reserved(lots["bottle"]) == 60
    shop.weigh_all(planned)
    finished = shop.finish(planned, "6 kg", units=60)
    cost = finished.cost
    assert (cost.materials, cost.packaging) == (D(60), D(36))
    assert (cost.labour, cost.overhead) == (D(36), D(11))
    assert cost.total == cost.inputs == 143
    assert (cost.per_unit, cost.per_kg) == (D("2.383333"), D("17.833333"))
    assert finished.lot.material_id == product.material_id
    assert shop.held(finished.lot) == (60, 143)
    assert shop.held(lots["bottle"]) == (40, 20)
    assert shop.reserved(lots["bottle"]) == 0
    with acting_as(shop.actor):
        assert latest_unit_cost(product) == D("2.383333")
    channel = Channel("Shop", margin_percent=D(60), fee_percent=D("6.5"))
    price = shop.does(price_product, product=product.id, channel=channel)
    assert (price.unit_cost, price.price) == (D("2.383333"), D("7.114427"))


def test_fewer_units_than_planned_take_less_packaging(shop: Workshop) -> None:
    formula, lots = bottles(shop)
    planned = shop.plan(shop.product(formula, "100 g", [(lots["bottle"].material, "2 each")]), 40)
    shop.weigh_all(planned)
    shop.finish(planned, "3.9 kg", units=39)
    assert (shop.held(lots["bottle"])[0], shop.reserved(lots["bottle"])) == (22, 0)


def test_packaging_that_is_missing_is_named(shop: Workshop) -> None:
    formula, lots = bottles(shop, "30 each")
    product = shop.product(formula, "100 g", [(lots["bottle"].material, "1 each")])
    planned = shop.plan(product, 40)
    assert planned.packaging[0].packaging.short == 10
    shop.weigh_all(planned)
    with pytest.raises(NotEnough, match="40 of Bottle are needed, and 30 can be used: receive"):
        shop.finish(planned, "4 kg", units=40)
    assert shop.reserved(lots["bottle"]) == 30
    other = shop.plan(product, 30)
    shop.weigh_all(other)
    told = f"0 can be used, since {planned.batch.code} was promised some"
    with pytest.raises(NotEnough, match=told):
        shop.finish(other, "3 kg", units=30)
    shop.finish(planned, "4 kg")


def test_a_batch_takes_its_own_packaging_and_leaves_that_of_others(shop: Workshop) -> None:
    formula, lots = bottles(shop, "30 each")
    bottle = lots["bottle"].material
    later = shop.receive(bottle, "30 each", "30.00")
    product = shop.product(formula, "100 g", [(bottle, "1 each")])
    first, second = shop.plan(product, 30), shop.plan(product, 20)
    shop.weigh_all(second)
    shop.finish(second, "2 kg", units=20)
    assert (shop.held(lots["bottle"])[0], shop.held(later)[0]) == (30, 10)
    shop.weigh_all(first)
    shop.finish(first, "3 kg", units=30)
    assert (shop.held(lots["bottle"])[0], shop.held(later)[0]) == (0, 10)


@pytest.mark.parametrize("cost_formula", ["average", "fifo", "lot"])
def test_packaging_from_two_lots_by_every_cost_formula(shop: Workshop, cost_formula: str) -> None:
    """What is foreseen of the cost is what the ledger takes, to the last digit."""
    formula, _ = simple(shop)
    bottle = shop.material("Bottle", measured_by="count", cost_formula=cost_formula)
    cheap = shop.receive(bottle, "7 each", "1.00", expires_on=date(2026, 1, 1))
    dear = shop.receive(bottle, "30 each", "10.01", expires_on=date(2025, 12, 1))
    planned = shop.plan(shop.product(formula, "100 g", [(bottle, "1 each")]), 31)
    shop.weigh_all(planned)
    cost = shop.finish(planned, "3.1 kg", units=31).cost
    expected = {
        "average": D("11.01") * 31 / 37,
        "fifo": D(1) + D("10.01") * 24 / 30,
        "lot": D("10.01") + D(1) / 7,
    }[cost_formula]
    assert cost.packaging == expected.quantize(D("0.000001"))
    assert (shop.held(dear)[0], shop.held(cheap)[0]) == (0, 6)


def test_samples_are_issued_at_unit_cost(shop: Workshop) -> None:
    formula, lots = bottles(shop)
    product = shop.product(formula, "100 g", [(lots["bottle"].material, "1 each")])
    planned = shop.plan(product, 40)
    shop.weigh_all(planned)
    finished = shop.finish(planned, "4 kg", units=40, samples=["2 each", "1 each"], release=None)
    assert finished.status == Status.QUARANTINE
    assert finished.cost.per_unit == D("1.5")
    assert shop.held(finished.lot) == (37, D("55.5"))
    assert shop.held(finished.lot, Account.Kind.ISSUE) == (3, D("4.5"))


def test_more_samples_than_were_made(shop: Workshop) -> None:
    formula, _ = simple(shop)
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned)
    with pytest.raises(NotEnough) as refusal:
        shop.finish(planned, "900 g", samples=["901 g"])
    assert refusal.value.pointer == "/samples"
    assert shop.batch(planned).state == "planned"


def test_a_batch_finishes_once_and_only_when_something_is_in_it(shop: Workshop) -> None:
    formula, _ = simple(shop)
    planned = shop.plan(formula, "1 kg")
    with pytest.raises(NothingWeighed):
        shop.finish(planned, "1 kg")
    with pytest.raises(Invalid) as refusal:
        shop.finish(planned, "1 kg", units=3)
    assert refusal.value.pointer == "/units"
    shop.weigh_all(planned)
    shop.finish(planned, "970 mL")
    with pytest.raises(AlreadyFinished, match=planned.batch.code):
        shop.finish(planned, "970 g")


@pytest.mark.parametrize(
    ("shelf_life", "herb_until", "expected", "noted"),
    [
        (None, None, None, False),
        (30, None, date(2025, 6, 5), False),
        (30, date(2025, 7, 1), date(2025, 6, 5), False),
        (90, date(2025, 7, 1), date(2025, 7, 1), True),
        (None, date(2025, 7, 1), date(2025, 7, 1), True),
    ],
)
def test_what_is_made_lasts_no_longer_than_what_went_in(
    shop: Workshop,
    shelf_life: int | None,
    herb_until: date | None,
    expected: date | None,
    noted: bool,
) -> None:
    herb, oil = shop.material("Herb"), shop.material("Oil")
    lot = shop.receive(herb, "1 kg", "5.00", expires_on=herb_until)
    shop.receive(oil, "1 kg", "5.00", expires_on=date(2027, 1, 1) if herb_until else None)
    formula = shop.formula("Balm", [(herb, "50"), (oil, "50")], shelf_life_days=shelf_life)
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned)
    made = shop.finish(planned, "1 kg").lot
    assert made.expires_on == expected
    assert (lot.code in made.dates_note) == noted


def test_made_with_a_lot_past_its_date_it_lasts_for_the_day(shop: Workshop) -> None:
    herb = shop.material("Herb")
    lot = shop.receive(herb, "1 kg", "5.00", expires_on=date(2025, 5, 10))
    planned = shop.plan(shop.formula("Balm", [(herb, "100")], shelf_life_days=365), "1 kg")
    day = on("2025-05-14")
    shop.weigh(planned, 0, lot, "1 kg", happened_at=day, deviation="retested")
    made = shop.finish(planned, "1 kg", at=day).lot
    assert made.expires_on == day.date()
    assert "2025-05-10" in made.dates_note


def test_a_back_dated_finish_cannot_use_what_came_later(shop: Workshop) -> None:
    formula, _ = simple(shop)
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned, at=on("2025-05-08"))
    with pytest.raises(NotEnough, match="2025-05-07"):
        shop.finish(planned, "1 kg", at=on("2025-05-07"))
    assert on("2025-05-07") > MORNING


def test_two_who_finish_at_once(shop: Workshop) -> None:
    """The batch is locked first, so the second finds it finished, and nothing is made twice."""
    formula, lot = simple(shop)
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned)
    barrier, outcomes = threading.Barrier(2), []

    def end() -> None:
        try:
            barrier.wait(10)
            outcomes.append(shop.finish(planned, "970 g").lot.code)
        except AlreadyFinished as refusal:
            outcomes.append(refusal.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=end) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert len(outcomes) == 2
    assert outcomes.count("already_finished") == 1
    assert shop.held(lot, Account.Kind.BATCH) == (0, 0)


@pytest.mark.parametrize("units", [0, -1, 1_000_001])
def test_units_that_no_batch_fills(shop: Workshop, units: int) -> None:
    formula, _ = bottles(shop)
    product = shop.product(formula, "100 g")
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    with pytest.raises(Invalid) as refusal:
        shop.finish(planned, "1 kg", units=units)
    assert refusal.value.pointer == "/units"
    with pytest.raises(Invalid) as too_many:
        shop.plan(product, units)
    assert too_many.value.pointer == "/units"


def test_what_costs_more_than_the_books_can_hold(shop: Workshop) -> None:
    formula, _ = simple(shop)
    most = D(999_999_999)
    product = shop.product(formula, "100 g", minutes_per_batch=most, hourly_rate=most)
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    with pytest.raises(MoneyTooLarge):
        shop.finish(planned, "1 kg", units=10)
