"""What was used of a material, and what that leads to expect, on its page."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.utils import timezone

from ledger.catalogue import add_supplier
from ledger.issuing import Taken, issue
from ledger.offering import PriceFacts, add_offer
from ledger.quantities import parse_quantity
from tests.factories import TODAY, D, Workshop, open_workshop
from tests.pages.browsing import shown, signed_in
from tests.pages.figures import workings_of
from tests.pages.looking import looked_at


@pytest.fixture(scope="module")
def shop(database: Any) -> Workshop:
    return open_workshop("North Bench")


def test_a_forecast_is_told_with_its_interval_and_its_record(shop: Workshop) -> None:
    """A kilogram in each of twenty weeks: all past forecasts of four weeks held."""
    wax = shop.material("Cera Alba")
    lot = shop.receive(wax, "50 kg", "500.00")
    for week in range(20):
        taken, on = [Taken(lot.id, parse_quantity("1 kg"))], timezone.now()
        on -= timedelta(days=7 * week + 3)
        shop.does(issue, lines=taken, purpose="gift", reason="open day", happened_at=on)
    browser, path = signed_in(shop), f"/materials/{wax.id}/usage"
    page = shown(browser.get(path))
    assert "Expected 4 kg" in page
    assert "Likely between 4 kg and 4 kg" in page
    assert "for weeks that are past: 9. Those that the use then lay within: 9." in page
    assert "right 80 times of a hundred" in page
    unfolded = workings_of(browser.get(path).content.decode())
    assert [one.exact for one in unfolded] == [1000, 4000, 4000, 4000]
    assert "often and evenly" in page
    assert looked_at(browser, path).queries <= 15
    asked = f"{path}?per_order=28&keeping_percent=20"
    assert "Nobody offers Cera Alba today" in shown(browser.get(asked))
    supplier = shop.does(add_supplier, name="Waxes")
    pack, price = parse_quantity("5 kg"), PriceFacts(TODAY, D(40))
    shop.does(add_offer, supplier=supplier.id, material=wax.id, pack=pack, price=price)
    told = shown(browser.get(asked))
    assert "5 kg · lasts days: 315 45 kg" in told
    assert looked_at(browser, asked).queries <= 15
    assert "Work it out" in shown(browser.get(f"{path}?per_order=&keeping_percent=x"))
    rows = browser.get(f"{path}?as=csv").content.decode().splitlines()
    assert len(rows) == 21
    assert path in browser.get(f"/materials/{wax.id}").content.decode()


def test_a_week_opens_to_what_was_used_and_back(shop: Workshop) -> None:
    """Without scripts it is a page of its own, which leads back to the material's use."""
    clay = shop.material("Kaolin")
    lot = shop.receive(clay, "5 kg", "50.00")
    on = timezone.now() - timedelta(days=10)
    taken = [Taken(lot.id, parse_quantity("1 kg"))]
    shop.does(issue, lines=taken, purpose="gift", reason="open day", happened_at=on)
    browser, path = signed_in(shop), f"/materials/{clay.id}/usage"
    (week,) = re.findall(r'href="(/materials/[^"]+/gone[^"]+)"', browser.get(path).content.decode())
    answer = browser.get(unescape(week)).content.decode()
    assert f'href="{path}"' in answer
    assert "/books/usage" not in answer


@pytest.mark.parametrize("every", [1, 3])
def test_what_is_expected_opens_to_its_reckoning(shop: Workshop, every: int) -> None:
    """Now more, now less, in each week or in each third: the limits are what is told of them."""
    oil = shop.material(f"Oil, every {every}")
    lot = shop.receive(oil, "50 kg", "500.00")
    for week in range(0, 20, every):
        taken, on = [Taken(lot.id, parse_quantity(f"{1 + week % 2} kg"))], timezone.now()
        on -= timedelta(days=7 * week + 3)
        shop.does(issue, lines=taken, purpose="gift", reason="open day", happened_at=on)
    page = looked_at(signed_in(shop), f"/materials/{oil.id}/usage").text
    each, expected, least, most = workings_of(page)
    assert abs(expected.exact - 4 * each.exact) < D("0.1")
    assert least.adds_up
    assert most.adds_up
    assert least.exact < expected.exact < most.exact
    assert page.count('href="#expected"') == 2


def test_of_what_was_never_used_nothing_is_said(shop: Workshop) -> None:
    oil = shop.material("Ricinus Communis Oil")
    page = shown(signed_in(shop).get(f"/materials/{oil.id}/usage"))
    assert "there is nothing to expect" in page
    assert "Expected" not in page
