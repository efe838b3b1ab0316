"""The working of a batch opens down to lots, densities, shares of freight and people."""

from collections.abc import Iterator

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.explaining import Figure, explain, explain_lot
from formulas.filling import fill
from formulas.products import ProductDraft, change_product
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Workshop


def all_of(figure: Figure) -> Iterator[Figure]:
    yield figure
    for part in figure.parts:
        yield from all_of(part)


def named(figure: Figure, name: str) -> list[Figure]:
    return [one for one in all_of(figure) if one.name == name]


@pytest.mark.parametrize("cost_formula", ["average", "fifo", "lot"])
def test_a_cost_opens_to_its_receipts_through_an_intermediate(
    shop: Workshop, cost_formula: str
) -> None:
    herb = shop.material("Herb", cost_formula=cost_formula)
    glycerin = shop.material("Glycerin", density="1.26 g/mL", cost_formula=cost_formula)
    herb_lot = shop.receive(herb, "1 kg", "22.00")
    shop.receive(glycerin, "4 gal", "186.00", freight="34.28")
    glycerite = shop.formula("Glycerite", [(herb, "10"), (glycerin, "90")], loss="25")
    inner = shop.plan(glycerite, "1 kg")
    shop.weigh_all(inner)
    shop.finish(inner, "750 g")
    bulk = shop.formula("Shampoo", [(glycerin, "97"), (glycerite, "3")])
    outer = shop.plan(bulk, "10 kg")
    shop.weigh_all(outer)
    finished = shop.finish(outer, "9.9 kg")
    working = shop.does(explain, outer.batch.id)

    (total,) = [one for one in working.parts if one.name == "total"]
    assert total.amount == finished.cost.total
    inputs = total.parts[0]
    assert inputs.amount == sum(part.amount or 0 for part in inputs.parts)
    materials = inputs.parts[0]
    assert materials.amount == sum(part.amount or 0 for part in materials.parts)
    for weighing in materials.parts:
        assert weighing.amount == sum(part.amount or 0 for part in weighing.parts)
    (of_inner,) = [one for one in named(working, f"batch {inner.batch.code}") if one.parts]
    assert of_inner.facts["formula"] == "Glycerite"
    by_lot = {one.facts["lot"]: one for one in named(of_inner, "landed cost")}
    assert by_lot[herb_lot.code].amount == 22
    # What came in a delivery is told in full where it is first met.
    landed = [one for one in named(working, "landed cost") if one.parts]
    humectant = next(one for one in landed if one.facts["entered"] == "4 gal")
    assert humectant.facts["density"] == "1.26 g/mL"
    assert [(part.name, part.amount) for part in humectant.parts] == [
        ("goods", 186),
        ("freight", D("34.28")),
    ]
    assert all(one.facts["by"].startswith("owner-") for one in named(working, "Glycerin"))


def test_packaging_and_water_and_a_planned_batch(shop: Workshop) -> None:
    water = shop.water(cost_per_kg=D("0.01"), cost_source="meter")
    bottle = shop.material("Bottle", measured_by="count")
    shop.receive(bottle, "10 each", "5.00")
    product = shop.product(shop.formula("Mist", [(water, "100")]), "100 g", [(bottle, "1 each")])
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    before = shop.does(explain, planned.batch.id)
    assert [one.amount for one in before.parts] == [D("0.01")]
    shop.finish(planned, "1 kg", units=10)
    working = shop.does(explain, planned.batch.id)
    (packaging,) = named(working, "packaging")
    assert (packaging.amount, packaging.parts[0].facts["count"]) == (D(5), "10.000000")
    (tap,) = named(working, "not stocked")
    assert tap.how == "meter"
    (unit,) = named(working, "per_unit")
    assert unit.amount == D("0.501")


def queries(shop: Workshop, lots: int) -> int:
    material = shop.material("Glycerin", cost_formula="lot")
    for _ in range(lots):
        shop.receive(material, "100 g", "1.00")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), f"{lots * 100} g")
    shop.weigh_all(planned)
    shop.finish(planned, f"{lots * 100} g")
    with CaptureQueriesContext(connection) as seen:
        shop.does(explain, planned.batch.id)
    return len(seen)


def test_many_weighings_take_no_more_queries_than_two(shop: Workshop) -> None:
    assert queries(shop, 2) == queries(shop, 6)


def test_a_filled_lot_opens_to_its_bulk_and_the_receipts_below(shop: Workshop) -> None:
    oil = shop.material("Helianthus Annuus Seed Oil", cost_formula="lot")
    tin = shop.material("Tin", measured_by="count")
    oil_lot = shop.receive(oil, "4 kg", "20.00")
    tin_lot = shop.receive(tin, "10 each", "5.00")
    balm = shop.formula("Balm", [(oil, "100")], density="0.92 g/mL")
    bulk = shop.made_lot(balm, "4000")
    labour = {"minutes_per_unit": D(1), "hourly_rate": D(15)}
    product = shop.product(balm, "100 g", [(tin, "1 each")], **labour)
    filled = shop.does(
        fill, product=product.id, lot=bulk.id, units=10, happened_at=MORNING, release_basis="seen"
    )

    working = shop.does(explain_lot, filled.lot.id)
    assert working.amount == filled.total == D("12.5")
    parts = {part.name: part for part in working.parts}
    amounts = {name: part.amount for name, part in parts.items()}
    assert amounts == {"bulk": D("5"), "packaging": D("5"), "labour": D("2.5")}
    assert parts["labour"].facts == {
        "minutes_per_unit": "1",
        "units": "10",
        "hourly_rate": "15",
    }
    (tins,) = parts["packaging"].parts
    assert (tins.amount, tins.facts["count"]) == (D("5"), "10.000000")
    landed = named(parts["packaging"], "landed cost") + named(parts["bulk"], "landed cost")
    assert [one.facts["lot"] for one in landed] == [tin_lot.code, oil_lot.code]

    received = shop.does(explain_lot, oil_lot.id)
    assert (received.name, received.amount) == ("landed cost", D(20))


def test_an_average_tells_the_receipts_that_had_come_by_then(shop: Workshop) -> None:
    """An intermediate drew before the second delivery came, the batch that it went into after."""
    oil = shop.material("Helianthus Annuus Seed Oil", cost_formula="average")
    first = shop.receive(oil, "2 kg", "20.00")
    infusion = shop.formula("Infusion", [(oil, "100")])
    inner = shop.plan(infusion, "1 kg")
    shop.weigh_all(inner)
    shop.finish(inner, "1 kg")
    second = shop.receive(oil, "1 kg", "14.00")
    outer = shop.plan(shop.formula("Balm", [(oil, "50"), (infusion, "50")]), "2 kg")
    shop.weigh_all(outer)
    finished = shop.finish(outer, "2 kg")
    working = shop.does(explain, outer.batch.id)

    own, made = named(working, "materials")[0].parts
    assert (own.name, own.amount) == ("Helianthus Annuus Seed Oil", D(12))
    assert receipts(own) == {first.code, second.code}
    (of_inner,) = [one for one in named(made, f"batch {inner.batch.code}") if one.parts]
    assert receipts(of_inner) == {first.code}
    assert finished.cost.total == 22


def receipts(figure: Figure) -> set[str]:
    return {one.facts["lot"] for one in named(figure, "landed cost")}


def test_labour_and_overhead_open_to_the_policy_as_it_was_at_the_finish(shop: Workshop) -> None:
    """(30 + 2 · 10) min at 18.00 an hour are 15.00; 5.00 and 10 % of 20.00 are 7.00."""
    wax = shop.material("Wax")
    shop.receive(wax, "1 kg", "20.00")
    policy = {
        "minutes_per_batch": D(30),
        "minutes_per_unit": D(2),
        "hourly_rate": D(18),
        "overhead_per_batch": D(5),
        "overhead_percent": D(10),
    }
    formula = shop.formula("Balm", [(wax, "100")])
    product = shop.product(formula, "100 g", (), **policy)
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    shop.finish(planned, "1 kg", units=10)
    dearer = ProductDraft(
        "Balm",
        formula.formula_id,
        parse_quantity("100 g"),
        hourly_rate=D(99),
        overhead_percent=D(1),
    )
    shop.does(change_product, product=product.id, expected_version=1, draft=dearer)
    working = shop.does(explain, planned.batch.id)
    (labour,), (overhead,) = named(working, "labour"), named(working, "overhead")
    assert (labour.amount, overhead.amount) == (D(15), D(7))
    assert labour.facts == {
        "minutes_per_batch": "30",
        "minutes_per_unit": "2",
        "units": "10",
        "hourly_rate": "18",
    }
    assert overhead.facts == {"per_batch": "5", "percent_of_materials": "10"}
