"""A day in a file is the one that its page shows: that of the place where the co-op is."""

from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import uuid4

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from ledger.access import day_of
from ledger.makers import open_coop
from ledger.places import add_place, change_place
from ledger.quantities import parse_quantity
from ledger.recall_records import close_recall, open_recall
from ledger.source_tests import record_source_test
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import signed_in

NOW: Final = datetime.now(UTC)
# Where it is another day than in Greenwich, whatever the time.
ELSEWHERE: Final = "Pacific/Kiritimati" if NOW.hour >= 11 else "Etc/GMT+12"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    person = get_user_model().objects.create(username=f"coordinator-{uuid4()}")
    where = {"currency": "USD", "time_zone": ELSEWHERE}
    return open_workshop(coop=open_coop(name=f"Far Makers {uuid4()}", coordinator=person, **where))


def recalled(shop: Workshop) -> list[str]:
    """A lot that came, went to another maker and was called back: the addresses of its files."""
    other = open_workshop("Mill Bench", coop=shop.coop)
    lot = shop.receive(shop.material("Neem oil"), "5 kg", "9.00", at=NOW)
    about = {"maker": other.actor.maker, "quantity": parse_quantity("3 kg")}
    offer = shop.does(offer_transfer, lot=lot.id, happened_at=NOW, **about)
    other.does(accept_transfer, transfer=offer.id, happened_at=NOW)
    recall = shop.does(open_recall, lot=lot.id, reason="too warm", happened_at=NOW)
    shop.does(close_recall, recall=recall.id, reason="all is here", happened_at=NOW)
    told = f"/recalls/{recall.id}?table=makers&"
    return [f"/lots/{lot.id}?", "/receipts?", "/recalls?", told]


def made_with_water(shop: Workshop) -> list[str]:
    """A formula that was changed, and its batch with water in which something grew."""
    water, today = shop.water(), day_of(shop.actor, NOW)
    version = shop.formula("Toner", [(water, "100")])
    shop.next_version(version, [(water, "100")])
    shop.weigh(shop.plan(version, "1 kg", planned_for=today), 0, None, "1 kg", happened_at=NOW)
    about = {"material": water.id, "source": "tap", "result": "plate count 900", "passed": False}
    # Long after, so that the day of the test is not that of the weighing.
    later = today + timedelta(days=9)
    failed = shop.does(record_source_test, tested_on=later, today=later, **about)
    versions = f"/formulas/{version.formula_id}/versions?"
    source = f"/materials/{water.id}/source?failed={failed.id}&table=batches&"
    return [versions, f"{versions}table=all&", source]


def retired(shop: Workshop) -> list[str]:
    """A place that is not used any more."""
    place = shop.does(add_place, name="Old cupboard")
    shop.does(change_place, place=place.id, version=None, now=NOW, retired=True)
    return ["/places?"]


def test_every_day_is_that_of_the_co_op(shop: Workshop) -> None:
    client, there = signed_in(shop), day_of(shop.actor, NOW)
    assert there != NOW.date()
    addresses = [*recalled(shop), *made_with_water(shop), *retired(shop)]
    files = {address: told(client, address) for address in addresses}
    days = {
        address: (str(there) in text, str(NOW.date()) in text) for address, text in files.items()
    }
    assert {address: found for address, found in days.items() if found != (True, False)} == {}


def told(client: Client, address: str) -> str:
    answer = client.get(f"{address}as=csv")
    assert answer.headers["Content-Type"].startswith("text/csv"), address
    return answer.content.decode()
