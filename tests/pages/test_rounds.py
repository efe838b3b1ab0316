"""A round on pages: the buyer is asked, and hands out what came after a look at it."""

from typing import Any

import pytest

from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_ordering import place_orders
from tests.factories import D, Workshop, open_workshop
from tests.ordering_together import EVENING, asked, offered, owed, pledged
from tests.pages.browsing import done, refused, shown, signed_in
from tests.pages.looking import looked_at

MOST = 15


@pytest.fixture(scope="module")
def buyer(database: Any, redis_server: Any) -> Workshop:
    return open_workshop("North Bench")


@pytest.fixture(scope="module")
def other(buyer: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=buyer.coop)


def test_whoever_is_asked_answers_with_a_tap(buyer: Workshop, other: Workshop) -> None:
    first, second = (asked(buyer, name=name) for name in ("Autumn", "Winter"))
    north, mill = signed_in(buyer), signed_in(other)
    assert "Asked to buy for all" in shown(north.get("/"))
    assert "Asked to buy for all" not in shown(mill.get("/"))
    path = f"/order-rounds/{first.id}"
    assert "has not answered yet" in shown(mill.get(path))
    assert "Say why not" in refused(north, path, do="leave", reason="")
    told = done(north, "/", do="leave", of=str(first.id), reason="no room")
    assert "Autumn You would" not in told
    assert "North Bench will not buy for all: no room" in shown(mill.get(path))
    assert "buyer declined" in shown(mill.get("/order-rounds"))
    assert "Will you buy for all?" in shown(north.get(path)), "it may think again"
    assert "Will you buy for all?" not in done(north, path, do="buy")
    assert "Asked to buy for all" not in done(north, "/", do="buy", of=str(second.id))


def test_what_came_is_handed_out_after_a_look(buyer: Workshop, other: Workshop) -> None:
    """Two packs of 5 kg for 80.00 and 28.00 of freight, of which one pack comes."""
    round, oil = asked(buyer), offered(buyer)
    for shop in (buyer, other):
        pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(buyer, round), EVENING)
    north, mill = signed_in(buyer), signed_in(other)
    path = f"/order-rounds/{round.id}"
    assert "Write these orders" not in shown(north.get(path))
    assert "Write these orders" in done(north, path, do="buy")
    (order,) = buyer.does(place_orders, round=round.id, happened_at=EVENING)
    out = f"{path}/hand-out"
    assert out in north.get(path).content.decode()
    assert "Still to come: 10000 g" in shown(north.get(out))
    assert "still to come" in refused(north, out).lower()
    (line,) = buyer.does(lambda actor: list(order.lines.all()))
    came = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(90), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    buyer.does(receive, supplier=order.supplier_id, lines=[came], **about)
    look = shown(north.get(out))
    assert "Mill Bench To pay 45.00 USD As it was split 54.00 USD" in look
    assert "Paid for what came, and by all together: 90.00 USD." in look
    assert looked_at(north, out).queries <= MOST
    assert looked_at(north, path).queries <= MOST
    own = shown(mill.get(out))
    assert "What you get and pay To pay 45.00 USD" in own
    assert "by all together" not in own, "of two it would tell the other's part"
    assert "Hand it out" not in own
    told = done(north, out, note="on Saturday")
    assert "handed out" in told
    assert "on Saturday" in told
    assert "Hand it out" not in told
    assert "is handed out" in refused(north, out)
    assert "Out of which lots" in shown(mill.get(out))
    assert "/transfers/" in mill.get(out).content.decode()
    assert looked_at(mill, out).queries <= MOST
