"""Goods at a shop on pages: sent there, sold there, taken back; never more than lies there."""

from datetime import date, timedelta
from typing import Any

import pytest

from ledger.models import Membership
from ledger.opened_lots import say_opened
from tests.factories import TODAY, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_goods_at_a_shop_are_the_makers_until_they_are_sold(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Bar", measured_by="count"), "40 each", "60.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/shops"
    assert "Nothing lies at a shop" in shown(client.get("/at-shops"))
    assert "40" in refused(client, path, shop="Quay shop", quantity="41 each")
    page = done(client, path, shop="Quay shop", quantity="10 each")
    assert "30 pieces" in page.replace("\xa0", " ")
    assert "Quay shop 10" in page
    listed = shown(client.get("/at-shops")).replace("\xa0", " ")
    assert "Bar 10 pieces 15.00 USD" in listed
    later = {"do": "later", "shop": "Quay shop"}
    assert "Say why" in refused(client, path, **later, then="back", quantity="1 each")
    told = refused(client, path, **later, then="sold", quantity="11 each")
    assert "10\N{NO-BREAK SPACE}pieces" in told
    assert refused(client, path, **{**later, "shop": "Elsewhere"}, then="sold", quantity="1 each")
    assert "Quay shop 7" in done(client, path, **later, then="sold", quantity="3 each")
    page = done(client, path, **later, then="back", quantity="2 each", reason="faded")
    assert "32 pieces" in page.replace("\xa0", " ")
    assert "Quay shop,NB" in client.get("/at-shops?as=csv").content.decode()


def test_what_is_open_is_told_with_its_earlier_day(shop: Workshop) -> None:
    plum = shop.material("Plum oil", use_within_days=30)
    lot = shop.receive(plum, "5 kg", "50.00", expires_on=date(2099, 1, 31))
    client, until = signed_in(shop), TODAY + timedelta(days=30)
    done(client, f"/lots/{lot.id}/shops", shop="Plum shop", quantity="1 kg")
    shop.does(say_opened, lot=lot.id, opened_on=TODAY)
    for path in ("/at-shops", "/at-shops?shop=Plum+shop"):
        assert f"Plum oil use by {until:%-d %b %Y}" in shown(client.get(path))
    file = client.get("/at-shops?as=csv").content.decode()
    (row,) = [row for row in file.splitlines() if lot.code in row]
    assert f",{until}," in row


def test_a_shop_tells_of_its_month_at_once(shop: Workshop) -> None:
    soap, oil = (
        shop.material(name, measured_by=by) for name, by in (("Soap", "count"), ("Oil", "mass"))
    )
    bars, cans = shop.receive(soap, "40 each", "60.00"), shop.receive(oil, "5 kg", "50.00")
    client, sending = signed_in(shop), {"do": "send", "shop": "Pier & Co", "lines": "2"}
    first = {"lines-0-lot": bars.code, "lines-0-quantity": "10 each"}
    both = {**first, "lines-1-lot": "NB0", "lines-1-quantity": "2 kg"}
    assert "no lot of this code" in refused(client, "/at-shops", **sending, **both)
    much = {**first, "lines-0-quantity": "99 each"}
    assert "Only 40 pieces" in refused(client, "/at-shops", **sending, **much)
    both["lines-1-lot"] = cans.code
    page = done(client, "/at-shops", **sending, **both, happened_at="2025-05-07T09:00")
    assert "Pier & Co" in page
    path = "/at-shops?shop=Pier+%26+Co"
    shown_there = shown(client.get(path)).replace("\xa0", " ")
    assert "10 pieces" in shown_there
    assert "2 kg" in shown_there
    sold, back, poured = f"{bars.id}-sold", f"{bars.id}-back", f"{cans.id}-sold"
    assert "Write beside a lot" in shown(sent(client, path))
    assert "Say why" in refused(client, path, **{back: "1"})
    much = {sold: "3", poured: "3 kg"}
    assert "Only 2\N{NO-BREAK SPACE}kg" in refused(client, path, **much)
    # Nothing of a month is booked that cannot be booked as a whole.
    assert "10 pieces" in shown(client.get(path)).replace("\xa0", " ")
    told = {sold: "3", back: "2", poured: "500 g"}
    assert "Only" in refused(client, path, **{**told, back: "8"}, reason="faded")
    page = done(client, path, **told, reason="faded", happened_at="2025-05-31T18:00")
    there = shown(client.get(path)).replace("\xa0", " ")
    assert "5 pieces" in there
    assert "1.5 kg" in there
    has = shown(client.get(f"/lots/{bars.id}/recall-list")).replace("\xa0", " ")
    assert "Pier & Co" in has
    assert client.get("/at-shops?shop=nowhere").status_code == 404
    assert "Sold" not in shown(in_role(shop, Membership.Role.READ_ONLY).get(path))
