"""Lots that come to their last day: what batches take of them, and who else could use them."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from ledger import alert_answers, reviewing
from ledger.access import acting_as
from ledger.alert_settings import Choices, choose
from ledger.models import Lot
from tests.factories import MORNING, Workshop, open_workshop
from tests.pages.browsing import shown, signed_in
from tests.pages.looking import looked_at

NOW = datetime.now(UTC)
LAST = NOW.date() + timedelta(days=10)


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def other(shop: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=shop.coop)


def row_of(client: Client, lot: Lot) -> str:
    """What Today says of a lot that is to be used soon."""
    page = re.sub(r"\s+", " ", shown(client.get("/"))).partition("Use soon")[2]
    assert lot.code in page
    return page.partition(lot.code)[2].partition("until")[0]


def at_risk(shop: Workshop) -> dict[str, str]:
    """What will be left of each lot that is told of by an alert, by the code of the lot."""
    with acting_as(shop.actor):
        reviewing.review(shop.coop.id, shop.actor.maker, now=NOW)
        found = alert_answers.alerts(shop.actor, open=True).filter(kind="expiring")
        return {alert.facts["lot"]: alert.facts["at_risk"] for alert in found}


def test_what_batches_take_can_be_used_and_of_the_rest_others_are_told(
    shop: Workshop, other: Workshop
) -> None:
    """All of the oil and 300 of 500 g of the wax go into planned batches in time."""
    oil, wax = shop.material("Oil to use soon"), shop.material("Wax to use soon")
    lots = [
        shop.receive(material, quantity, "9.00", expires_on=LAST)
        for material, quantity in ((oil, "1 kg"), (wax, "500 g"))
    ]
    for material in (oil, wax):
        other.receive(material, "2 kg", "18.00")
    for material, weighed in ((oil, "1 kg"), (wax, "300 g")):
        made = shop.formula(f"Balm of {material.name}", [(material, "100")])
        shop.plan(made, weighed, planned_for=LAST - timedelta(days=1))
    client = signed_in(shop)
    assert "planned batches take all of it" in row_of(client, lots[0])
    assert "planned batches take 300 g" in row_of(client, lots[1])
    assert "too" not in row_of(client, lots[1])
    assert at_risk(shop) == {lots[1].code: "200.000000"}
    for tells, words in (
        ("counted", "1 other maker uses it too"),
        ("named", "used too by Mill Bench"),
    ):
        other.does(choose, Choices(use_told=tells))
        assert words in row_of(client, lots[1])
        # There is nothing to give of what goes into batches.
        assert words not in row_of(client, lots[0])
    assert looked_at(client, "/").queries <= 15
    settings = shown(client.get("/alerts"))
    assert "in a small co-op even a number tells who it is" in settings


def test_what_the_maker_made_has_an_act_as_well(shop: Workshop) -> None:
    """Nobody else takes a bulk of one's own: it is made into something, or goes out."""
    oil = shop.material("Oil of a bulk")
    shop.receive(oil, "2 kg", "18.00")
    keeps = (LAST - MORNING.date()).days
    bulk = shop.formula("Bulk to use soon", [(oil, "100")], shelf_life_days=keeps)
    lot = shop.made_lot(bulk, "500")
    page = signed_in(shop).get("/").content.decode().partition("Use soon")[2]
    row = page.partition(lot.code)[2].partition("</li>")[0]
    assert f'href="/lots/{lot.id}/out"' in row
    assert 'href="/batches/new"' in row
    assert "/share" not in row
