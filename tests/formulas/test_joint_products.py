"""What PostgreSQL refuses of joint products, whoever writes them."""

import pytest
from django.db import IntegrityError, transaction

from formulas import finishing
from formulas.joint_products import Joint, JointDraft, JointProductDraft
from formulas.models import JointProduct, Making
from ledger.access import acting_as
from ledger.quantities import parse_quantity
from tests.factories import D, Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")


def distilled() -> tuple[Workshop, Making]:
    """$10 for 100 g of oil and 900 g of hydrosol."""
    shop = open_workshop()
    herb, water = shop.material("Herb"), shop.material("Hydrosol")
    lot = shop.receive(herb, "2 kg", "20.00")
    planned = shop.plan(shop.formula("Oil", [(herb, "100")]), "1 kg")
    shop.weigh(planned, 0, lot, "1 kg")
    joint = JointDraft("mass", [JointProductDraft(water.id, parse_quantity("900 g"))])
    return shop, shop.finish(planned, "100 g", joint=joint).making


def test_the_products_of_a_making_carry_what_it_says() -> None:
    shop, making = distilled()
    assert (making.joint_grams, making.joint_value) == (D(900), D(9))
    with acting_as(shop.actor):
        main, water = JointProduct.objects.filter(making=making).order_by("position")
        assert (main.lot_id, main.value, water.value) == (making.lot_id, D(1), D(9))
        facts = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker, "entered": "1 g"}
        more = JointProduct(making=making, position=2, lot_id=water.lot_id, value=0, **facts)
        more.grams = D(1)
        said = "carry what their making says"
        with pytest.raises(IntegrityError, match=said), transaction.atomic():
            more.save(force_insert=True)
        more.position = 1
        with pytest.raises(IntegrityError, match="joint_product_once"), transaction.atomic():
            more.save(force_insert=True)


@pytest.mark.parametrize(
    "wrong", [{"joint_base": ""}, {"joint_value": D("10.01")}, {"joint_base": "colour"}]
)
def test_a_making_says_what_can_be(wrong: dict[str, object]) -> None:
    shop, making = distilled()
    with acting_as(shop.actor):
        making.pk = None
        for name, value in wrong.items():
            setattr(making, name, value)
        with pytest.raises(IntegrityError, match="making_joint_within_cost"), transaction.atomic():
            making.save(force_insert=True)


@pytest.mark.parametrize("kept", [0, 1])
def test_a_making_has_the_products_that_it_says(monkeypatch: pytest.MonkeyPatch, kept: int) -> None:
    """Without any, and with the main one alone."""

    def forget(making: Making, joint: Joint) -> None:
        joint.main.making, joint.main.lot_id = making, making.lot_id
        JointProduct.objects.bulk_create([joint.main][:kept])

    monkeypatch.setattr(finishing, "keep_joint_products", forget)
    with pytest.raises(IntegrityError, match=r"has its main one and another|carry what"):
        distilled()
