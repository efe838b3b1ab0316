"""Who opens a co-op is its coordinator, and is told what comes before all else: a maker."""

from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from ledger.makers import actor_for, open_coop, open_maker
from ledger.models import Membership
from tests.factories import Workshop
from tests.pages.browsing import shown, signed_in

NONE_YET = "No maker is open yet"


@pytest.fixture
def first(database: Any, redis_server: Any) -> Workshop:
    """A co-op that was just opened, and its coordinator."""
    person = get_user_model().objects.create(username=f"first {uuid4()}")
    coop = open_coop(
        name=f"River Makers {uuid4().hex[:8]}",
        currency="USD",
        time_zone="UTC",
        coordinator=person,
    )
    return Workshop(coop, actor_for(coop, None, person.pk, Membership.Role.COORDINATOR))


def test_a_maker_is_to_be_opened_first(first: Workshop) -> None:
    client: Client = signed_in(first)
    page = shown(client.get("/"))
    assert NONE_YET in page
    assert "manage.py open_maker" in page
    assert "none is open yet" in shown(client.get("/order-rounds"))
    assert "No maker is open yet." in shown(client.get("/settlement"))
    owner = get_user_model().objects.create(username=f"owner {uuid4()}")
    open_maker(coop=first.coop, name="Willow Bench", owner=owner)
    page = shown(client.get("/"))
    assert NONE_YET not in page
    assert "Order together" in page
    assert "Open a round" in shown(client.get("/order-rounds"))
