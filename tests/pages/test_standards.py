"""Standard costs on their pages: set, refused in place, and what a batch differs by."""

from typing import Any

import pytest

from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in

DAY = "2025-05-01"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_standard_is_set_and_a_batch_is_held_to_it(shop: Workshop) -> None:
    """100 g of oil at 5.00 a kilogram in a jar at 0.50, where 6.00 and 0.45 were set."""
    oil, jar = shop.material("Oil"), shop.material("Jar", measured_by="count")
    shop.receive(oil, "10 kg", "50.00")
    shop.receive(jar, "100 each", "50.00")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "100 g", [(jar, "1 each")])
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    shop.finish(planned, "1 kg", units=10)
    client = signed_in(shop)
    books = "/books/variances?first=2025-05-01&last=2025-05-31"
    assert "no standard: Balm, version 1" in shown(client.get(books))
    path = f"/formulas/{version.formula_id}/standard"
    price = f"price_{oil.id}"
    assert "5.0000 USD" in shown(client.get(path))
    assert "six digits" in refused(client, path, valid_from=DAY, **{price: "6.1234567"})
    assert "1,000,000,000" in refused(client, path, valid_from=DAY, **{price: "99999999999"})
    assert "out of range" in refused(client, path, valid_from="1066-10-14")
    kept = done(client, path, valid_from=DAY, note="dearer", **{price: "6"})
    assert "dearer" in kept
    assert "6.0000 USD counts today" in kept
    assert "no standard: Balm 100 g" in shown(client.get(books))
    path = f"/products/{product.id}/standard"
    page = shown(client.get(path)).replace("\xa0", " ")
    assert "Overhead of a batch now 0.00 USD Overhead, percent of materials now 0 %" in page
    refusal = refused(client, path, valid_from=DAY, overhead_percent="1000")
    assert "less than 1,000" in refusal
    kept = done(client, path, valid_from=DAY, hourly_rate="12", **{f"price_{jar.id}": "0.45"})
    assert "12.00 USD" in kept
    # 10.00 was spent, where 6.00 and 4.50 should have been.
    assert "-0.50 USD" in shown(client.get(books))
    assert "NB" in refused(client, path, valid_from=DAY)


def test_a_standard_of_what_has_no_cost_asks_for_a_price(shop: Workshop) -> None:
    unbought = shop.material("Unbought")
    version = shop.formula("Other", [(unbought, "100")])
    client, path = signed_in(shop), f"/formulas/{version.formula_id}/standard"
    assert "Unbought" in refused(client, path, valid_from=DAY)
    assert "9.0000" in done(client, path, valid_from=DAY, **{f"price_{unbought.id}": "9"})
