"""Goods at a shop on pages: sent there, sold there, taken back; never more than lies there."""

from typing import Any

import pytest

from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_goods_at_a_shop_are_the_makers_until_they_are_sold(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Bar", measured_by="count"), "40 each", "60.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/shops"
    assert "Nothing lies at a shop" in shown(client.get("/at-shops"))
    assert "40" in refused(client, path, shop="Quay shop", quantity="41 each")
    page = done(client, path, shop="Quay shop", quantity="10 each")
    assert "30 each" in page.replace("\xa0", " ")
    assert "Quay shop 10" in page
    listed = shown(client.get("/at-shops")).replace("\xa0", " ")
    assert "Quay shop 10 each 15.00 USD" in listed
    later = {"do": "later", "shop": "Quay shop"}
    assert "Say why" in refused(client, path, **later, then="back", quantity="1 each")
    assert "10 each" in refused(client, path, **later, then="sold", quantity="11 each")
    assert refused(client, path, **{**later, "shop": "Elsewhere"}, then="sold", quantity="1 each")
    assert "Quay shop 7" in done(client, path, **later, then="sold", quantity="3 each")
    page = done(client, path, **later, then="back", quantity="2 each", reason="faded")
    assert "32 each" in page.replace("\xa0", " ")
    assert "Quay shop,NB" in client.get("/at-shops?as=csv").content.decode()
