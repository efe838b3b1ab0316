"""A round is handed out twice at once: one does it, and the other is told that it is done."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
import pytest

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.errors import Conflict
from ledger.models import OrderRound, RoundPortion
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_handing import hand_out
from ledger.round_ordering import place_orders
from tests.factories import D, Workshop, open_workshop
from tests.ordering_together import EVENING, offered, opened, owed, pledged
from tests.races.crowd import all_at_once, rewritten

pytestmark = pytest.mark.usefixtures("database")
# Two packs of 5 kg for 80.00, and 28.00 of freight; the buyer keeps most of it.
PLEDGED = ("7 kg", "1 kg", "1 kg")
NAMES = ("North Bench", "Mill Bench", "Quay Bench")


def came() -> tuple[list[Workshop], OrderRound]:
    """A round of which all has come; the first shop is its buyer."""
    north = open_workshop(NAMES[0])
    shops = [north, *(open_workshop(name, coop=north.coop) for name in NAMES[1:])]
    round, oil = opened(north), offered(north)
    for shop, quantity in zip(shops, PLEDGED, strict=True):
        pledged(shop, round, oil, quantity)
        # Each has some of it, so that nobody waits for the pool of another to be made.
        shop.receive(oil, "1 kg", "9.00")
    close_and_reckon(owed(north, round), EVENING)
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = north.does(lambda actor: list(order.lines.all()))
    delivered = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(80), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    north.does(receive, supplier=order.supplier_id, lines=[delivered], **about)
    return shops, round


def handing(buyer: Workshop, round: OrderRound) -> Callable[[], Any]:
    def work() -> Any:
        with acting_as(buyer.actor):
            return hand_out(buyer.actor, round=round.id, happened_at=EVENING).paid

    return work


def portions(buyer: Workshop) -> list[RoundPortion]:
    return buyer.does(lambda actor: list(RoundPortion.objects.filter(maker_id=actor.maker)))


def test_one_hands_it_out_and_the_other_is_told() -> None:
    for _ in range(3):
        shops, round = came()
        done = all_at_once([handing(shops[0], round)] * 2)
        (refused,) = [outcome for outcome in done if isinstance(outcome, Exception)]
        assert isinstance(refused, Conflict)
        assert "is handed out" in str(refused)
        assert done.count(D(80)) == 1
        handed = portions(shops[0])
        assert len(handed) == len(NAMES)
        assert sum(one.amount for one in handed) == 80
        assert sum(one.quantity for one in handed) == 10000
        for shop in shops:
            assert shop.disagreements() == []


@contextmanager
def as_often_as_asked(database: Server) -> Iterator[None]:
    """Without the rule that a round is handed out once; what was twice is taken away afterwards."""
    with psycopg.connect(database.url_admin, autocommit=True) as admin:
        admin.execute("alter table ledger_roundhandout drop constraint round_handed_out_once")
        try:
            yield
        finally:
            admin.execute("set session_replication_role = replica")
            admin.execute(
                "with again as (delete from ledger_roundhandout x using ledger_roundhandout y"
                " where y.coop_id = x.coop_id and y.round_id = x.round_id and y.id < x.id"
                " returning x.coop_id, x.id) delete from ledger_roundportion p using again"
                " where p.coop_id = again.coop_id and p.hand_out_id = again.id"
            )
            admin.execute(
                "alter table ledger_roundhandout"
                " add constraint round_handed_out_once unique (coop_id, round_id)"
            )


def test_without_the_lock_and_the_rule_both_hand_it_out(database: Server) -> None:
    """The control: each looks whether it is done before the other has done it."""
    shops, round = came()
    blind = {"order by p.material_id, p.maker_id for update": "and pg_sleep(0.3)::text = '-'"}
    with rewritten(database, "ledger_begin_hand_out", blind), as_often_as_asked(database):
        done = all_at_once([handing(shops[0], round)] * 2)
        handed = portions(shops[0])
    assert done == [D(80)] * 2
    assert len(handed) == 2 * len(NAMES)
