"""Two makers accept or claim the last kilogram at once; moves cross each other without a ring."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.claiming import claim_share
from ledger.errors import NotEnough
from ledger.models import Lot
from ledger.quantities import parse_quantity
from ledger.sharing import open_share
from ledger.transferring import accept_transfer, offer_transfer
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books
from tests.races.crowd import all_at_once, rewritten

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def offered(giver: Books, to: Books, lot: Lot, quantity: str) -> UUID:
    with acting_as(giver.actor):
        made = offer_transfer(
            giver.actor,
            maker=to.bench.maker.id,
            lot=lot.id,
            quantity=parse_quantity(quantity),
            happened_at=now() - timedelta(hours=1),
        )
    return made.id


def accepting(maker: Books, transfer: UUID) -> Callable[[], Any]:
    def work() -> Any:
        with acting_as(maker.actor):
            return accept_transfer(maker.actor, transfer=transfer, happened_at=now()).state

    return work


def neighbours(count: int) -> list[Books]:
    first = Books("fifo")
    more = [
        Books("average", bench=open_bench(f"Bench {place}", coop=first.bench.coop))
        for place in range(count - 1)
    ]
    return [first, *more]


def test_the_last_kilogram_goes_to_one_and_the_other_is_told() -> None:
    for _ in range(5):
        giver, one, two = neighbours(3)
        lot = giver.lot("1500", "30")
        works = [accepting(to, offered(giver, to, lot, "1 kg")) for to in (one, two)]
        done = all_at_once(works)
        (refused,) = [outcome for outcome in done if isinstance(outcome, Exception)]
        assert isinstance(refused, NotEnough)
        assert refused.facts["left"] == "500.000000"
        assert done.count("accepted") == 1
        assert giver.held(lot) == (500, 10)
        assert giver.disagreements() == []


def claiming(maker: Books, share: UUID) -> Callable[[], Any]:
    def work() -> Any:
        with acting_as(maker.actor):
            return claim_share(
                maker.actor,
                share=share,
                quantity=parse_quantity("1 kg"),
                happened_at=now(),
            ).state

    return work


def last_kilogram_of_a_share() -> tuple[Books, Lot, list[Any]]:
    """Two makers claim a kilogram of the one that is open, out of a lot of which there is more."""
    giver, one, two = neighbours(3)
    lot = giver.lot("5000", "100")
    with acting_as(giver.actor):
        share = open_share(
            giver.actor,
            lot=lot.id,
            quantity=parse_quantity("1500 g"),
            accepts_itself=True,
            happened_at=now() - timedelta(hours=1),
        )
    return giver, lot, all_at_once([claiming(maker, share.id) for maker in (one, two)])


def test_the_last_kilogram_of_a_share_goes_to_one_and_the_other_is_told() -> None:
    for _ in range(5):
        giver, lot, done = last_kilogram_of_a_share()
        (refused,) = [outcome for outcome in done if isinstance(outcome, Exception)]
        assert isinstance(refused, NotEnough)
        assert refused.facts["left"] == "500.000000"
        assert done.count("accepted") == 1
        assert giver.held(lot) == (4000, 80)
        assert giver.disagreements() == []


def test_without_the_lock_on_the_share_both_have_it(database: Server) -> None:
    """The control: each looks at what is left before the other has written its claim."""
    change = {
        "for no key update;": ";",
        "if c.quantity > still then": "perform pg_sleep(0.3); if c.quantity > still then",
    }
    with rewritten(database, "ledger_accept_claim", change):
        giver, lot, done = last_kilogram_of_a_share()
    assert done == ["accepted"] * 2
    assert giver.held(lot) == (3000, 60)


def crossing(times: int) -> tuple[list[Books], list[Any]]:
    """Two makers give each other of two lots of one material, many at once."""
    one, two = neighbours(2)
    two.material = one.material
    first, second = one.lot("1000", "1000"), two.lot("1000", "1000")
    works = []
    for _ in range(times):
        works.append(accepting(two, offered(one, two, first, "10 g")))
        works.append(accepting(one, offered(two, one, second, "10 g")))
    return [one, two], all_at_once(works)


def test_moves_that_cross_never_wait_in_a_ring() -> None:
    books, done = crossing(8)
    assert done == ["accepted"] * 16
    assert [maker.worth() for maker in books] == [(1000, 1000), (1000, 1000)]
    for maker in books:
        assert maker.disagreements() == []


def test_without_the_order_they_do(database: Server) -> None:
    """The control: each locks the giver's pool first, and then its own."""
    change = {
        "and p.material_id = t.material_id order by p.material_id, p.maker_id for update;": (
            "and p.maker_id = giver and p.material_id = t.material_id for update;"
            " perform pg_sleep(0.05);"
            " perform from ledger_pool p where p.coop_id = coop and p.maker_id = receiver"
            " and p.material_id = t.material_id for update;"
        )
    }
    with rewritten(database, "ledger_move_between", change):
        _, done = crossing(8)
    assert any("deadlock" in str(outcome) for outcome in done)
