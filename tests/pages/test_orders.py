"""Orders on their pages: written by hand, corrected, and nothing more expected."""

import re
from typing import Any

import pytest

from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import OnOrder, PurchaseOrder, PurchaseOrderLine, Supplier
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_an_order_is_written_corrected_and_ended(shop: Workshop) -> None:
    shop.material("Shea butter")
    supplier = shop.does(add_supplier, name="Bulk butters")
    client = signed_in(shop)
    line = {"lines": "3", "lines-0-material": "shea butter", "lines-0-pack": "5 kg"}
    line |= {"lines-0-packs": "2", "lines-0-price": "80"}
    order = {"supplier": "bulk Butters", **line}
    assert "No material is called" in refused(
        client, "/orders/new", **{**order, "lines-0-material": "Sheep butter"}
    )
    day = {"lines-0-expected_on": "2020-01-01"}
    assert "before the order" in refused(client, "/orders/new", **order, **day)
    written = done(client, "/orders/new", **order, note="by phone")
    assert "5 kg · 80.00 USD" in written
    with acting_as(shop.actor):
        made = PurchaseOrder.objects.get(supplier=supplier)
        of = str(PurchaseOrderLine.objects.get(order=made).id)
    path = f"/orders/{made.id}"
    change = {"do": "correct", "line": of, "reason": "they sell six"}
    assert "Say what is to change" in refused(client, path, **change)
    assert "price is of the whole line" in refused(client, path, **change, packs="3")
    assert "Fill this in" in refused(client, path, do="correct", line=of, price="70")
    corrected = done(client, path, **change, packs="3", pack="6 kg", price="135")
    assert "6 kg · 135.00 USD" in corrected
    assert "corrected: they sell six" in corrected
    assert "not expected" in done(client, path, do="end", line=of, reason="sold out")
    again = done(client, path, do="correct", line=of, reason="they found some", undated="on")
    assert "to come" in again
    with acting_as(shop.actor):
        assert OnOrder.objects.get(order=made).quantity == 18_000


def test_what_has_come_is_here_whatever_else_is_not_expected(shop: Workshop) -> None:
    supplier = shop.does(add_supplier, name="Half of it")
    came, missing = (shop.material(name) for name in ("Mango butter", "Kokum butter"))
    lines = [Ordered(str(one.id), parse_quantity("5 kg"), D(40)) for one in (came, missing)]
    order = shop.does(write_order, supplier=supplier.id, lines=lines, happened_at=MORNING)
    (line,) = shop.does(
        lambda _: list(PurchaseOrderLine.objects.filter(order=order, material=came))
    )
    delivered = [
        Delivered(str(came.id), "M-1", parse_quantity("5 kg"), D(40), order_line=str(line.id))
    ]
    shop.does(receive, supplier=supplier.id, lines=delivered, charges=[], happened_at=MORNING)
    told = done(signed_in(shop), f"/orders/{order.id}", do="end", line="", reason="sold out")
    assert re.findall(r"of 5 kg (here|not expected|to come)", told.replace("\xa0", " ")) == [
        "here",
        "not expected",
    ]


def test_the_page_before_says_what_to_order(shop: Workshop) -> None:
    beads, seller = shop.material("Wax beads"), shop.does(add_supplier, name="Bulk beads")
    asked = signed_in(shop).get(f"/orders/new?material={beads.id}&supplier={seller.id}")
    assert 'value="Wax beads"' in asked.content.decode()
    assert 'name="supplier" value="Bulk beads"' in asked.content.decode()
    assert "A new order" in shown(asked)


def test_two_packs_of_one_material_are_named_once_among_the_orders(shop: Workshop) -> None:
    lines = {"lines": "2", "supplier": "Bulk salts", "new_supplier": "on"}
    shop.material("Sea salt")
    for place, (pack, price) in enumerate((("5 kg", "20"), ("1 kg", "6"))):
        row = {"material": "Sea salt", "pack": pack, "price": price}
        lines |= {f"lines-{place}-{name}": text for name, text in row.items()}
    done(signed_in(shop), "/orders/new", **lines)
    page = shown(signed_in(shop).get("/orders"))
    assert page.count("Bulk salts") == page.count("Sea salt") == 1


def test_the_first_order_of_a_co_op_brings_its_supplier(database: Any, redis_server: Any) -> None:
    shop = open_workshop("Quay Bench")
    client = signed_in(shop)
    assert "add what is to be ordered first" in shown(client.get("/orders/new"))
    shop.material("Oat flour")
    assert "add what is to be ordered first" not in shown(client.get("/orders/new"))
    order = {"supplier": "Field and Mill", "lines": "1", "lines-0-material": "Oat flour"}
    order |= {"lines-0-pack": "5 kg", "lines-0-price": "9.50"}
    assert "say that this one is new" in refused(client, "/orders/new", **order)
    late = {"lines-0-expected_on": "2020-01-01", "new_supplier": "on"}
    assert "before the order" in refused(client, "/orders/new", **order, **late)
    with acting_as(shop.actor):
        assert not Supplier.objects.filter(coop_id=shop.coop.id).exists(), "nothing half written"
    assert "Field and Mill" in done(client, "/orders/new", **order, new_supplier="on")
    again = {**order, "supplier": "field  and mill", "new_supplier": "on"}
    assert "Field and Mill" in done(client, "/orders/new", **again)
    with acting_as(shop.actor):
        assert Supplier.objects.filter(coop_id=shop.coop.id).count() == 1
