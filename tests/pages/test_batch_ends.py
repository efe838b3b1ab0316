"""A batch that is called off, and one that failed with something kept, on their page."""

from typing import Any

import pytest

from formulas.models import ByProduct
from ledger.access import acting_as
from ledger.models import Lot
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_called_off_or_thrown_away(shop: Workshop) -> None:
    oil = shop.material("Abyssinian oil")
    lot = shop.receive(oil, "2 kg", "80.00")
    version = shop.formula("Face oil", [(oil, "100")])
    client = signed_in(shop)
    first, second = shop.plan(version, "500 g"), shop.plan(version, "400 g")
    shop.weigh_all(first)
    shop.weigh_all(second)
    path = f"/batches/{first.batch.id}/stop"
    assert path in client.get(f"/batches/{first.batch.id}").content.decode()
    assert "Fill this in" in refused(client, path, way="off")
    only = "only of what failed"
    assert only in refused(client, path, way="off", reason="no time", kept="10")
    assert "called off" in done(client, path, way="off", reason="no time")
    assert shop.held(lot) == (D(1600), D(64))
    assert refused(client, path, way="off", reason="once more")
    path = f"/batches/{second.batch.id}/stop"
    away = {"way": "away", "reason": "it split"}
    assert "How much" in refused(client, path, **away, brings="2")
    assert refused(client, path, **away, kept="900")
    assert "thrown away" in done(client, path, **away, kept="100", brings="2")
    assert shop.disagreements() == []
    assert path not in client.get(f"/batches/{second.batch.id}").content.decode()


def test_what_came_out_beside_it_has_its_lot(shop: Workshop) -> None:
    """A kilogram of leaf for 30.00: 200 g of hydrolate bring 4.00, and the oil carries 26.00."""
    leaf, _ = shop.material("Rosemary leaf"), shop.material("Rosemary hydrolate")
    shop.receive(leaf, "1 kg", "30.00")
    planned = shop.plan(shop.formula("Rosemary oil", [(leaf, "100")]), "1 kg")
    shop.weigh_all(planned)
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/finish"
    about = {"output": "650 g", "beside": "rosemary HYDROLATE", "beside_nrv": "4.00"}
    assert "How much of it came out?" in refused(client, path, **about)
    assert "What is it?" in refused(client, path, output="650 g", beside_quantity="200 g")
    about["beside_quantity"] = "200 g"
    unknown = sent(client, path, **{**about, "beside": "Rosemary wax"}).content.decode()
    assert "No material is called" in unknown
    assert 'value="Rosemary wax"' in unknown
    assert "Rosemary hydrolate" in done(client, path, **about)
    with acting_as(shop.actor):
        row = ByProduct.objects.select_related("lot").get(making__batch=planned.batch)
        oil = planned.batch.version.formula.material
        made = Lot.objects.get(material=oil)
    assert shop.held(row.lot) == (D(200), D(4))
    assert shop.held(made) == (D(650), D(26))
