"""How many queries a page makes: few, and no more with more data."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.pages.urls import urlpatterns
from formulas.filling import Filled, fill
from formulas.models import Product
from formulas.standards import set_formula_standard, set_product_standard
from formulas.unit_weighings import Weighed, choose_rule, units_of_fill, weigh_units
from ledger.access import Actor
from ledger.catalogue import add_supplier
from ledger.claiming import accept_claim, claim_share
from ledger.decanting import Drawn, decant
from ledger.deposits import pay_deposit
from ledger.models import Lot, Material
from ledger.offering import PriceFacts, add_offer
from ledger.ordering import Ordered, end_order, write_order
from ledger.quantities import parse_quantity
from ledger.settling import movements_of
from ledger.sharing import open_share
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.ordering_together import opened, pledged
from tests.pages.browsing import signed_in

MOST = 15
NOON = MORNING + timedelta(hours=4)
# What a page shows only if it is asked.
ASKED = {
    "/order/plan": [f"until={datetime.now(UTC).date() + timedelta(days=9)}"],
    "/settlement/statement": ["month=2025-05"],
}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def work(shop: Workshop, number: int) -> dict[str, str]:
    """A delivery, a batch that was made and one that lacks something; an id of each kind."""
    oil, wax = (shop.material(f"{name} {number}") for name in ("Sunflower oil", "Beeswax"))
    lot = shop.receive(oil, "10 kg", "50.00", freight="5.00")
    shop.receive(oil, "1 kg", "6.00", release=None, expires_on=TODAY)
    shop.receive(wax, "100 g", "6.00")
    version = shop.formula(f"Balm {number}", [(oil, "80"), (wax, "20")])
    made = shop.plan(version, "400 g")
    shop.weigh_all(made)
    finished = shop.finish(made, "390 g")
    shop.plan(version, "5 kg")
    product = shop.product(version, "30 g")
    filled = _filled(shop, product, finished.lot)
    supplier = shop.does(add_supplier, name=f"Bulk oils {number}")
    pack, price = parse_quantity("1 kg"), PriceFacts(TODAY, D("5.00"))
    shop.does(add_offer, supplier=supplier.id, material=wax.id, pack=pack, price=price)
    line = Ordered(str(oil.id), pack, D("5.00"))
    order = shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
    shop.does(end_order, order=order.id, reason="sold out", happened_at=MORNING)
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=TODAY)
    shop.does(set_product_standard, product=product.id, valid_from=TODAY)
    return {
        "materials": str(oil.id),
        "lots": str(finished.lot.id),
        "batches": str(made.batch.id),
        "bought": str(lot.id),
        "formulas": str(version.formula_id),
        "fills": str(filled.filling.id),
        "products": str(product.id),
        "orders": str(order.id),
        "order-rounds": joined(shop, oil),
        **exchanged(shop, wax),
    }


def exchanged(shop: Workshop, wax: Material) -> dict[str, str]:
    """A lot that another maker shares, some of it given and owed for; a drum that was drawn off."""
    other = open_workshop(f"Mill Bench {wax.name}", coop=shop.coop)
    lot = other.receive(wax, "10 kg", "60.00")
    share = other.does(open_share, lot=lot.id, happened_at=MORNING)
    about = {"quantity": parse_quantity("1 kg"), "happened_at": NOON}
    claim, waiting = (shop.does(claim_share, share=share.id, **about) for _ in range(2))
    given = other.does(accept_claim, claim=claim.id, happened_at=NOON)
    owed = shop.does(lambda actor: movements_of(actor).get(transfer=given.transfer))
    drum = shop.receive(wax, "5 kg", "30.00")
    draws = [Drawn(parse_quantity("2 kg")), Drawn(parse_quantity("1 kg"), maker=other.actor.maker)]
    drawn = shop.does(decant, lot=drum.id, draws=draws, happened_at=NOON)
    supplier = shop.does(add_supplier, name=f"Drums {wax.name}")
    shop.does(pay_deposit, supplier=supplier.id, amount=D(25), happened_at=NOON)
    return {
        "shares": str(share.id),
        "claims": str(waiting.id),
        "movements": str(owed.id),
        "decantings": str(drawn.decanting.id),
        "transfers": str(given.transfer.id),
    }


def joined(shop: Workshop, oil: Material) -> str:
    """A round in which the shop has pledged, and may still."""
    now = datetime.now(UTC)
    round = opened(shop, now=now, closes_at=now + timedelta(days=1))
    pledged(shop, round, oil, "2 kg", now=now)
    return str(round.id)


def _filled(shop: Workshop, product: Product, bulk: Lot) -> Filled:
    """Six pieces of 30 g out of bulk, of which three were weighed."""
    shop.does(choose_rule, product=product.id, rule="eu", allowed=None)
    filled = shop.does(fill, product=product.id, lot=bulk.id, units=6, happened_at=MORNING)
    shop.does(_weigh_units, fill=filled.filling.id)
    return filled


def _weigh_units(actor: Actor, fill: UUID) -> None:
    weighed = [Weighed(net=parse_quantity(f"{grams} g")) for grams in ("30.1", "30.4", "29.9")]
    weigh_units(actor, of=units_of_fill(actor, fill), weighed=weighed, happened_at=MORNING)


def addresses(ids: dict[str, str]) -> Iterator[str]:
    for one in urlpatterns:
        route = f"/{one.pattern}"
        kind = route.split("/")[1]
        if "<" not in route:
            yield route
            yield from (f"{route}?{asked}" for asked in ASKED.get(route, ()))
        elif kind in ids:
            yield route.replace("<uuid:id>", ids[kind])


def counted(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(path)
    assert answer.status_code in {200, 405}, f"{path}: {answer.status_code}"
    return len(queries)


def test_no_page_asks_much_or_more_with_more_data(shop: Workshop) -> None:
    ids = work(shop, 0)
    client = signed_in(shop)
    paths = list(addresses(ids))
    assert len(paths) >= 15
    few = {path: counted(client, path) for path in paths}
    assert {path: n for path, n in few.items() if n > MOST} == {}
    for number in range(1, 6):
        work(shop, number)
    more = {path: counted(client, path) for path in paths}
    assert {path: (few[path], n) for path, n in more.items() if n > few[path]} == {}


def test_a_ladder_asks_no_more_than_a_page_may(shop: Workshop) -> None:
    ids = work(shop, 8)
    asked = "channels=1&channels-0-name=Shop&channels-0-way=margin_percent&channels-0-figure=60"
    path = f"/products/{ids['products']}/price?{asked}&cost_from=present"
    client = signed_in(shop)
    assert "Margin against price" in client.get(path).content.decode()
    assert counted(client, path) <= MOST
    assert counted(client, f"/what-if?material={ids['materials']}&price=9") <= MOST


def test_a_plot_stands_beside_its_table(shop: Workshop) -> None:
    ids = work(shop, 9)
    shown = signed_in(shop).get(f"/batches/{ids['batches']}").content.decode()
    assert re.search(r'<figure class="plot"><svg [^>]*role="img"', shown)
    assert "<table>" in shown
