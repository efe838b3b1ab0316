"""What Today tells of open alerts: when something runs out, and prices to who may see them."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from typing import Any

import pytest

from ledger.alert_answers import alerts
from ledger.alerts import set_watch
from ledger.catalogue import add_supplier
from ledger.models import Membership
from ledger.offering import PriceFacts, add_offer, reprice
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from tests.factories import Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import in_role, signed_in
from tests.pages.test_today import NOW, said, under


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_what_is_planned_says_on_which_day_it_runs_out(shop: Workshop) -> None:
    """By hand: of 1538 g of glycerin 796.5 are used the day after today and 321.7 on the 7th day;
    796.5 on the 13th are more than the 419.8 left. What is ordered for no day is not relied on; 400
    g on the 13th leave 23.3, and then it does not run out."""
    glycerin, today = shop.material("Glycerin"), datetime.now(UTC).date()
    shop.receive(glycerin, "1538 g", "20.00")
    tonic = shop.formula("Tonic", [(glycerin, "100")])
    shop.does(set_watch, material=glycerin.id, reorder_point=parse_quantity("1 g"))
    for days, much in ((1, "796.5 g"), (6, "321.7 g"), (12, "796.5 g")):
        shop.plan(tonic, much, planned_for=today + timedelta(days=days))
    work_off()
    client = signed_in(shop)
    day = today + timedelta(days=12)
    page = under(said(client), "Have a look")
    assert f"-376.7 g to count on; warned at 1 g · runs out on {day:%-d %b %Y}" in page
    (alert,) = shop.does(lambda actor: list(alerts(actor, open=True, kind="low_stock")))
    assert alert.facts["runs_out_on"] == day.isoformat()
    seller = shop.does(add_supplier, name=f"Valley {glycerin.id}")
    for expected in (None, day):
        pack = Ordered(str(glycerin.id), parse_quantity("400 g"), D(9), expected_on=expected)
        shop.does(write_order, supplier=seller.id, lines=[pack], happened_at=datetime.now(UTC))
        told = under(said(client), "Have a look").partition("runs out on")
        assert told[2].strip().startswith(f"{day:%-d %b %Y}") is (expected is None)


def test_a_price_that_rose_is_told_to_who_may_see_prices(shop: Workshop) -> None:
    """5.20 a kilogram became 6.50: a quarter more."""
    base = shop.material("Coco-betaine")
    seller = shop.does(add_supplier, name=f"Valley {base.id}")
    what = {"supplier": seller.id, "material": base.id, "pack": parse_quantity("1 kg")}
    since = PriceFacts(NOW - timedelta(days=9), D("5.20"))
    offer = shop.does(add_offer, price=since, opened=False, **what)
    shop.does(reprice, offer=offer.id, price=PriceFacts(NOW, D("6.50")))
    work_off()
    for role in Membership.Role.OWNER, Membership.Role.BOOKS, Membership.Role.READ_ONLY:
        assert "costs 25 % more" in said(in_role(shop, role)), role
    assert "costs 25 % more" not in said(in_role(shop, Membership.Role.BENCH))
