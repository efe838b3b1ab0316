"""A batch that is called off, and one that failed with something kept, on their page."""

from typing import Any

import pytest

from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, signed_in


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
