"""Declarations read from formulas, plans and what was weighed."""

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from formulas.composition import ToEffect
from formulas.declaring import declare_batch, declare_product
from formulas.errors import InciMissing
from ledger.access import acting_as
from ledger.catalogue import PartFacts, change_material
from ledger.errors import Forbidden, Invalid, NotFound, PartsNot100
from ledger.models import Material, MaterialPart
from tests.factories import Workshop, open_workshop
from tests.ledger.books import refused_by


def water(shop: Workshop) -> Material:
    return shop.water(inci_name="Aqua")


def test_an_intermediate_is_broken_up_unless_it_speaks_for_itself(shop: Workshop) -> None:
    herb = shop.material("Chamomile", inci_name="Chamomilla Recutita Flower")
    glycerin = shop.material("Glycerin", inci_name="Glycerin")
    glycerite = shop.formula("Glycerite", [(herb, "10"), (glycerin, "90")], loss="25")
    lotion = shop.formula("Lotion", [(water(shop), "balance"), (glycerite, "20")], loss="3")
    product = shop.product(lotion, "100 g")
    declared, version = shop.does(declare_product, product=product.id)
    assert version.id == lotion.id
    assert declared.text == "Aqua, Glycerin, Chamomilla Recutita Flower"
    assert declared.ingredients[1].percent == 18, "of what is in the pot, not of what was lost"
    extract = [PartFacts("Glycerin", D(97)), PartFacts("Chamomilla Recutita Extract", D(3))]
    shop.does(
        change_material,
        material=glycerite.formula.material_id,
        version=None,
        facts={"composition": extract},
    )
    declared, _ = shop.does(declare_product, product=product.id)
    assert declared.text == "Aqua, Glycerin, Chamomilla Recutita Extract"
    assert declared.ingredients[2].shown == D("0.6")


def test_a_plan_and_what_was_really_weighed(shop: Workshop) -> None:
    oil = shop.material("Oil", inci_name="Prunus Amygdalus Dulcis Oil")
    wax = shop.material("Wax", inci_name="Cera Alba")
    thick = shop.material("Thickener", inci_name="Silica")
    lots = [shop.receive(material, "10 kg", "10.00") for material in (oil, wax, thick)]
    formula = shop.formula("Balm", [(oil, "balance"), (wax, "40"), (thick, ToEffect(D(2), D(5)))])
    planned = shop.plan(formula, "1 kg")
    declared, _, weighed = shop.does(declare_batch, batch=planned.batch.id)
    assert not weighed
    assert declared.text == "Prunus Amygdalus Dulcis Oil, Cera Alba, Silica"
    for place, grams in enumerate(("300 g", "650 g", "50 g")):
        shop.weigh(planned, place, lots[place], grams, deviation="as it came")
    shop.finish(planned, "990 g")
    declared, batch, weighed = shop.does(declare_batch, batch=planned.batch.id)
    assert (weighed, batch.state) == (True, "finished")
    assert declared.text == "Cera Alba, Prunus Amygdalus Dulcis Oil, Silica"
    assert [one.percent for one in declared.ingredients] == [65, 30, 5]


def test_a_made_lot_is_declared_by_its_own_batch(shop: Workshop) -> None:
    """The infusion was weighed richer than its formula says, and the label follows the pot."""
    herb = shop.material("Herb", inci_name="Calendula Officinalis Flower")
    oil = shop.material("Oil", inci_name="Helianthus Annuus Seed Oil")
    lots = [shop.receive(material, "10 kg", "10.00") for material in (herb, oil)]
    infusion = shop.formula("Infusion", [(herb, "10"), (oil, "90")])
    made = shop.plan(infusion, "1 kg")
    for place, grams in enumerate(("200 g", "800 g")):
        shop.weigh(made, place, lots[place], grams, deviation="richer")
    lot = shop.finish(made, "900 g").batch.making.lot
    shop.decide(lot, "release")
    salve = shop.formula("Salve", [(infusion, "50"), (oil, "50")])
    planned = shop.plan(salve, "1 kg")
    assert planned.lines[0].picks[0].lot_id == lot.id
    shop.weigh_all(planned)
    shop.finish(planned, "1 kg")
    declared, _, _ = shop.does(declare_batch, batch=planned.batch.id)
    assert [(one.inci_name, one.shown) for one in declared.ingredients] == [
        ("Helianthus Annuus Seed Oil", D(90)),
        ("Calendula Officinalis Flower", D(10)),
    ]


def test_missing_names_are_refused(shop: Workshop) -> None:
    product = shop.product(shop.formula("Balm", [(shop.material("Wax"), "100")]), "50 g")
    with pytest.raises(InciMissing) as refusal:
        shop.does(declare_product, product=product.id)
    assert "Wax" in refusal.value.detail


def test_the_walls_and_the_roles(shop: Workshop) -> None:
    wax = shop.material("Wax", inci_name="Cera Alba")
    product = shop.product(shop.formula("Balm", [(wax, "100")]), "50 g")
    other = open_workshop("Mill Bench", coop=shop.coop)
    with pytest.raises(NotFound):
        other.does(declare_product, product=product.id)
    reader = replace(shop, actor=replace(shop.actor, role="read-only"))
    assert reader.does(declare_product, product=product.id)[0].text == "Cera Alba"
    coordinator = replace(shop.actor, role="coordinator", maker_id=None)
    with acting_as(coordinator), pytest.raises(Forbidden):
        declare_product(coordinator, product=product.id)


@pytest.mark.parametrize(
    ("facts", "refused", "pointer"),
    [
        ({"composition": [PartFacts("Aqua", D("99.9"))]}, PartsNot100, "/composition"),
        (
            {"composition": [PartFacts("Aqua", D(50)), PartFacts(" aqua", D(50))]},
            Invalid,
            "/composition/1/inci_name",
        ),
        ({"allergens": [PartFacts("Citral", D(0))]}, Invalid, "/allergens/0/percent"),
        (
            {"allergens": [PartFacts("Citral", D(60)), PartFacts("Geraniol", D(41))]},
            Invalid,
            "/allergens",
        ),
    ],
)
def test_parts_that_cannot_be(
    shop: Workshop, facts: dict[str, list[PartFacts]], refused: type[Invalid], pointer: str
) -> None:
    wax = shop.material("Wax", composition=[PartFacts("Cera Alba", D(100))])
    with pytest.raises(refused) as refusal:
        shop.does(change_material, material=wax.id, version=None, facts=facts)
    assert refusal.value.pointer == pointer
    with acting_as(shop.actor):
        (kept,) = MaterialPart.objects.filter(material_id=wax.id)
    assert kept.inci_name == "Cera Alba"


def test_what_is_counted_is_not_declared(shop: Workshop) -> None:
    with pytest.raises(Invalid):
        shop.material("Jar", measured_by="count", composition=[PartFacts("Aqua", D(100))])


INSERT = """
insert into ledger_materialpart
  (id, coop_id, maker_id, material_id, kind, position, inci_name, percent)
values (gen_random_uuid(), %s, %s, %s, 'part', %s, 'Aqua', %s)
"""


def test_the_database_refuses_as_well(shop: Workshop) -> None:
    wax = shop.material("Wax")
    own = shop.formula("Balm", [(wax, "100")]).formula.material_id
    coop, maker = shop.actor.coop_id, shop.actor.maker_id

    def tried(*values: Any) -> BaseException:
        with (
            acting_as(shop.actor),
            pytest.raises(DatabaseError) as refusal,
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(INSERT, [coop, *values])
        return refusal.value

    assert refused_by(tried(None, wax.id, 0, 99)) == "material_parts_100"
    assert refused_by(tried(None, wax.id, 0, 0)) == "material_part_within_100"
    for mine, material in ((maker, wax.id), (None, own)):
        assert "row-level security" in str(tried(mine, material, 0, 100))


def test_parts_of_what_a_maker_makes_are_its_own(shop: Workshop) -> None:
    made = shop.formula("Balm", [(shop.material("Wax"), "100")]).formula.material_id
    parts = [PartFacts("Cera Alba", D(100))]
    shop.does(change_material, material=made, version=None, facts={"composition": parts})
    other = open_workshop("Mill Bench", coop=shop.coop)
    with acting_as(other.actor):
        assert not MaterialPart.objects.filter(material_id=made).exists()
    with acting_as(shop.actor):
        assert MaterialPart.objects.get(material_id=made).maker_id == shop.actor.maker_id
