"""Prices on their pages, worked by hand: the same figure wherever it stands."""

import re
from typing import Any

import pytest

from formulas.models import Product
from formulas.prices import CostFrom
from ledger.access import acting_as
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in

# What a piece costs: 100 g at 148.81 for 10 kg.
SOLD = {"channels": "2", "channels-0-name": "Wholesale", "channels-0-way": "margin_percent"}
SOLD |= {"channels-0-figure": "60", "channels-0-tax_percent": "0", "channels-0-shown": "net"}
SOLD |= {"channels-1-name": "Card", "channels-1-way": "price", "channels-1-figure": "4.95"}
SOLD |= {"channels-1-fee_percent": "3", "channels-1-fixed_fee": "0.30"}
SOLD |= {"channels-1-tax_percent": "19", "channels-1-shown": "gross"}
SOLD |= {"cost_from": CostFrom.PRESENT.value}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_price_goes_up_to_the_coin_on_every_page(shop: Workshop) -> None:
    """1.4881 ÷ 0.4 = 3.72025, and (1.4881 + 0.30) ÷ 0.97 = 1.8434: less would not pay for it."""
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "148.81")
    product = shop.product(shop.formula("Balm", [(oil, "100")]), "100 g")
    client = signed_in(shop)
    ladder = shown(client.get(f"/products/{product.id}/price", SOLD))
    assert "Nothing of this is kept here" in ladder
    assert "Hollow mark: break-even, the price at which nothing is left." in ladder
    # On paper no field is printed: what stands in them does.
    paper = re.findall(
        r'class="on-paper">([^<]*)',
        client.get(f"/products/{product.id}/price", SOLD).content.decode(),
    )
    assert "Sold by: Wholesale · Its price comes from a: margin, percent of the price" in paper[0]
    assert "19" in paper[1]
    assert len(paper) == 3
    assert "Wholesale 3.73 USD 0.00 USD 3.73 USD" in ladder
    assert "Nothing is left at, without tax On the list, without tax with tax" in ladder
    assert "Card 1.85 USD 4.16 USD 4.95 USD" in ladder
    # 1,000 ÷ (3.73 - 1.4881) = 446.05 pieces, which are eight batches of 60.
    paid = {**SOLD, "fixed": "1000", "batch_units": "60"}
    even = shown(client.get(f"/products/{product.id}/price", paid))
    assert "447 pieces 8 batches" in even.replace("\xa0", " ")
    asked = {"material": str(oil.id), "change_percent": "0", "margin_percent": "60"}
    assert "3.73 USD 3.73 USD" in shown(client.get("/what-if", asked))


def test_work_is_paid_or_said_to_cost_nothing(shop: Workshop) -> None:
    oil = shop.material("Other oil")
    shop.receive(oil, "10 kg", "50.00")
    version = shop.formula("Salve", [(oil, "100")])
    client = signed_in(shop)
    draft = {"name": "Salve 50", "formula": str(version.formula_id), "nominal": "50 g"}
    draft |= {"minutes_per_unit": "2", "pieces_0": "1"}
    assert "an hour of it costs, or write 0" in refused(client, "/products/new", **draft)
    told = done(client, "/products/new", hourly_rate="0", **draft)
    assert "the work is not in this cost" in told
    done(client, "/products/new", hourly_rate="18", **{**draft, "name": "Salve paid"})
    with acting_as(shop.actor):
        paid = Product.objects.get(name="Salve paid")
    assert "not in this cost" not in shown(client.get(f"/products/{paid.id}/price"))
