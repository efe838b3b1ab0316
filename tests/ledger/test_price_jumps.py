"""A price that rises by more than was chosen is told once, and no longer than it is news."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from ledger import alert_answers, reviewing
from ledger.access import acting_as
from ledger.alert_settings import Choices, choose
from ledger.catalogue import add_supplier
from ledger.models import Alert, Material, Offer
from ledger.offering import PriceFacts, add_offer, reprice, withdraw_offer
from ledger.quantities import parse_quantity
from tests.factories import D, Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")
JUNE, JULY = date(2025, 6, 1), date(2025, 7, 1)


@pytest.fixture
def shop() -> Workshop:
    return open_workshop("North Bench")


def offered(shop: Workshop, price: str, *, opened: bool = False) -> tuple[Offer, Material]:
    """Five kilograms at a price from June on."""
    supplier, material = shop.does(add_supplier, name="Bulk oils"), shop.material("Olive oil")
    pack = {"supplier": supplier.id, "material": material.id, "pack": parse_quantity("5 kg")}
    facts = PriceFacts(JUNE, D(price))
    return shop.does(add_offer, price=facts, opened=opened, **pack), material


def jumps(shop: Workshop, day: date = JULY) -> list[Alert]:
    """The open alerts of prices, after a review on a day."""
    now = datetime.combine(day, time(12), UTC)
    with acting_as(shop.actor):
        reviewing.review(shop.actor.coop_id, shop.actor.maker, now=now)
        return list(alert_answers.alerts(shop.actor, open=True, kind="price_jump"))


def test_a_rise_above_ten_percent_is_told_by_the_kilogram(shop: Workshop) -> None:
    offer, material = offered(shop, "20.00")
    shop.does(reprice, offer=offer.id, price=PriceFacts(JULY, D("25.00")))
    assert jumps(shop, JULY - timedelta(days=1)) == [], "it is dated ahead"
    (alert,) = jumps(shop)
    assert (alert.subject, alert.material_id) == (offer.id, material.id)
    assert alert.facts == {
        "name": "Olive oil",
        "supplier": "Bulk oils",
        "was": "4.000000",
        "now": "5.000000",
        "unit": "USD/kg",
        "percent": "25.00",
    }
    assert jumps(shop) == [alert], "looking twice tells nothing new"


@pytest.mark.parametrize(("price", "told"), [("22.00", 0), ("22.01", 1), ("18.00", 0)])
def test_only_more_than_the_percent_is_a_jump(shop: Workshop, price: str, told: int) -> None:
    offer, _ = offered(shop, "20.00")
    shop.does(reprice, offer=offer.id, price=PriceFacts(JULY, D(price)))
    assert len(jumps(shop)) == told


def test_a_maker_chooses_the_percent(shop: Workshop) -> None:
    offer, _ = offered(shop, "20.00")
    shop.does(reprice, offer=offer.id, price=PriceFacts(JULY, D("25.00")))
    shop.does(choose, Choices(price_jump_percent=25))
    assert jumps(shop) == []
    shop.does(choose, Choices(price_jump_percent=24))
    assert len(jumps(shop)) == 1


def test_a_correction_a_withdrawal_and_time_end_it(shop: Workshop) -> None:
    offer, _ = offered(shop, "20.00")
    price = PriceFacts(JULY, D("250.00"))
    shop.does(reprice, offer=offer.id, price=price)
    (first,) = jumps(shop)
    # Still too much, and another price: that is news.
    shop.does(reprice, offer=offer.id, price=replace(price, price=D("25.00")))
    (second,) = jumps(shop)
    assert second.id != first.id
    assert jumps(shop, JULY + timedelta(days=60)) == [second]
    assert jumps(shop, JULY + timedelta(days=61)) == []
    (third,) = jumps(shop)
    shop.does(withdraw_offer, offer=offer.id, valid_from=JULY)
    assert jumps(shop) == []
    assert third.facts["percent"] == "25.00"
    # What is taken up again is compared with what held before.
    shop.does(reprice, offer=offer.id, price=PriceFacts(JULY + timedelta(days=9), D("50.00")))
    (fourth,) = jumps(shop, JULY + timedelta(days=9))
    assert fourth.facts["percent"] == "100.00"


def test_an_opened_offer_is_told_to_who_has_the_material_and_a_private_one_to_nobody_else(
    shop: Workshop,
) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    third = open_workshop("Fell Bench", coop=shop.coop)
    shared, material = offered(shop, "20.00", opened=True)
    other.receive(material, "1 kg", "4.00")
    own, _ = offered(shop, "20.00")
    for offer in (shared, own):
        shop.does(reprice, offer=offer.id, price=PriceFacts(JULY, D("25.00")))
    assert {alert.subject for alert in jumps(shop)} == {own.id}
    assert [alert.subject for alert in jumps(other)] == [shared.id]
    assert jumps(third) == []
