"""Who opens a co-op is its coordinator, and is told what comes first, a maker; then what waits."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from ledger.makers import actor_for, open_coop, open_maker
from ledger.models import Membership
from ledger.quantities import parse_quantity
from ledger.round_buyers import answer_as_buyer
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, Workshop, open_workshop
from tests.ordering_together import asked
from tests.pages.browsing import done, shown, signed_in
from tests.pages.looking import looked_at
from tests.pages.test_rounds import for_the_co_op

NONE_YET = "No maker is open yet"


MOST = 15


@pytest.fixture
def buyer(database: Any, redis_server: Any) -> Workshop:
    return open_workshop("North Bench")


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
    assert "Whoever runs the server can give you a role" in shown(client.get("/makers"))
    owner = get_user_model().objects.create(username=f"owner {uuid4()}")
    open_maker(coop=first.coop, name="Willow Bench", owner=owner)
    page = shown(client.get("/"))
    assert NONE_YET not in page
    assert "Order together" in page
    assert "Open a round" in shown(client.get("/order-rounds"))


def test_what_waits_in_rounds_and_between_makers_is_one_tap_away(buyer: Workshop) -> None:
    """One round without an answer, one whose buyer declined, one that has; and one whose clock has
    run out. One maker gave a second something for 12.00, and that to a third at cost, who alone is
    to pay once it is cleared."""
    others = [open_workshop(name, coop=buyer.coop) for name in ("Mill Bench", "Quay Bench")]
    now = datetime.now(UTC)
    client = for_the_co_op(buyer)
    assert "Nothing waits for you." in shown(client.get("/"))
    times = {"closes_at": now + timedelta(days=3), "now": now - timedelta(days=1)}
    silent, not_willing, agreed = (
        asked(buyer, name=name, **times) for name in ("Autumn", "Winter", "Spring")
    )
    late = asked(buyer, name="Late", **{**times, "closes_at": now - timedelta(hours=1)})
    for round, why in ((not_willing, "no room"), (agreed, ""), (late, "")):
        buyer.does(answer_as_buyer, round=round.id, agrees=not why, reason=why, now=now)
    lot, when = buyer.receive(buyer.material("Oat oil"), "1 kg", "12.00"), {"happened_at": MORNING}
    for giver, taker in pairwise([buyer, *others]):
        to = {"maker": taker.actor.maker, "quantity": parse_quantity("1 kg")}
        offer = giver.does(offer_transfer, lot=lot.id, **to, **when)
        taker.does(accept_transfer, transfer=offer.id, release_basis="seen", **when)
    seen = looked_at(client, "/")
    assert seen.queries <= MOST
    text = shown(client.get("/"))
    headings = ("Nobody buys", "Being worked", "Open rounds", "Debts")
    unbought, in_work, open_now, owed = _parts(text, *headings)
    assert "Autumn North Bench was asked and has not answered" in unbought
    assert "Winter North Bench will not: no room" in unbought
    assert ("Spring" in unbought, "Late" in unbought) == (False, False)
    assert "Late" in in_work
    assert [name for name in ("Autumn", "Winter", "Spring", "Late") if name in open_now] == [
        *("Autumn", "Winter", "Spring"),
    ]
    assert "1 payment clears all that nobody disputes" in owed
    for path in (f"/order-rounds/{silent.id}#ask", f"/order-rounds/{agreed.id}#close"):
        assert f'href="{path}"' in seen.text
        place, _, form = path.partition("#")
        assert f'id="{form}"' in client.get(place).content.decode()
    assert 'href="/settlement#clear"' in seen.text
    assert 'id="clear"' in client.get("/settlement").content.decode()
    done(client, "/settlement", do="clear", note="")
    assert "Debts between" not in shown(client.get("/")), "they are to be paid, and no more cleared"
    for number in range(9):
        asked(buyer, name=f"Round {number}", **times)
    more = looked_at(client, "/")
    assert more.queries == seen.queries
    assert "There are more" in more.text


def _parts(text: str, *headings: str) -> list[str]:
    """What stands under each heading."""
    assert [one for one in headings if one not in text] == [], text
    ends = [text.index(heading) for heading in (*headings, "What you look after")]
    assert ends == sorted(ends)
    return [text[first:last] for first, last in pairwise(ends)]
