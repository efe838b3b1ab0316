"""Order rounds behind their walls: who may write, who sees what, and work that is done twice."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from ledger import round_closing
from ledger.access import Actor, acting_as, set_walls
from ledger.catalogue import add_supplier
from ledger.errors import Conflict, Forbidden, Invalid, NotFound
from ledger.models import (
    Material,
    OrderRound,
    Outbox,
    RoundClosing,
    RoundOrder,
    RoundOutcome,
    RoundOwnAlone,
    RoundPledge,
    RoundShare,
    RoundShareLine,
)
from ledger.offering import PriceFacts, add_offer
from ledger.quantities import parse_quantity
from ledger.round_closing import close_and_reckon
from ledger.round_ordering import place_orders
from ledger.round_results import result_of
from ledger.rounds import close, close_round, open_round, pledges_of, round_for, totals_of
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.ordering_together import EVENING, coordinator, does, offered, opened, owed, pledged

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shops(database: object) -> list[Workshop]:
    """Three makers of one co-op."""
    first = open_workshop("North Bench")
    return [first, *(open_workshop(name, coop=first.coop) for name in ("Mill Bench", "Quay Bench"))]


def test_the_clock_closes_and_what_comes_of_it_is_written_once(shops: list[Workshop]) -> None:
    round, oil = opened(shops[0]), offered(shops[0])
    for shop in shops:
        pledged(shop, round, oil, "4 kg")
    work = owed(shops[0], round)
    waiting = shops[0].does(lambda actor: Outbox.objects.get(id=work.id))
    assert (waiting.due_at, waiting.done_at) == (EVENING, None)
    for _ in range(2):
        close_and_reckon(work, EVENING + timedelta(seconds=3))
    done = shops[0].does(lambda actor: Outbox.objects.get(id=work.id))
    assert (done.done_at is not None, done.last_error) == (True, "reckoned already")
    found = does(coordinator(shops[0]), result_of, round=round.id)
    assert found.round.closed_at == EVENING
    assert found.outcome.together == D(148)
    assert found.outcome.apart == D(204)
    assert [one.share.amount for one in found.makers] == [D("49.33"), D("49.34"), D("49.33")]
    (order,) = found.orders
    assert (order.maker_id, order.goods, order.freight) == (shops[0].actor.maker, D(120), D(28))
    for shop in shops:
        (own,) = shop.does(result_of, round=round.id).makers
        assert own.maker_id == shop.actor.maker
        with acting_as(shop.actor):
            seen = {row.maker_id for row in RoundShare.objects.all()}
            seen |= {row.maker_id for row in RoundShareLine.objects.all()}
            seen |= {row.maker_id for row in RoundPledge.objects.all()}
            assert seen == {shop.actor.maker}
            assert RoundOrder.objects.exists() == (shop is shops[0])


def test_who_dies_before_it_is_written_leaves_nothing(
    shops: list[Workshop], monkeypatch: pytest.MonkeyPatch
) -> None:
    round, oil = opened(shops[0]), offered(shops[0])
    pledged(shops[1], round, oil, "1 kg")
    work = owed(shops[0], round)

    def killed(*_: Any) -> None:
        raise SystemExit

    with monkeypatch.context() as broken:
        broken.setattr(round_closing, "_write_shares", killed)
        with pytest.raises(SystemExit):
            close_and_reckon(work, EVENING)
    result: Any = shops[1].does(result_of, round=round.id)
    assert (result.outcome, result.makers) == (None, [])
    assert result.round.closed_at == EVENING
    close_and_reckon(work, EVENING)
    (share,) = shops[1].does(result_of, round=round.id).makers
    assert share.share is not None
    assert share.share.amount == D(68)


def test_the_buyer_writes_the_orders_once(shops: list[Workshop]) -> None:
    north, mill, quay = shops
    round, oil = opened(north), offered(north)
    for shop in (mill, quay):
        pledged(shop, round, oil, "4 kg")
    with pytest.raises(Conflict, match="nothing to order"):
        north.does(place_orders, round=round.id, happened_at=EVENING)
    close_and_reckon(owed(north, round), EVENING)
    with pytest.raises(Forbidden, match="North Bench"):
        mill.does(place_orders, round=round.id, happened_at=EVENING)
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = north.does(lambda actor: list(order.lines.all()))
    assert (line.packs, line.entered, line.quantity, line.price) == (2, "5 kg", D(10000), D(80))
    assert "Spring" in order.note
    with pytest.raises(Conflict, match="are written"):
        north.does(place_orders, round=round.id, happened_at=EVENING)
    (bought,) = does(coordinator(north), result_of, round=round.id).orders
    assert [one.number for one in bought.placements.all()] == [order.number]


def test_a_round_without_pledges_orders_nothing(shops: list[Workshop]) -> None:
    round = opened(shops[0])
    close_and_reckon(owed(shops[0], round), EVENING)
    found = does(coordinator(shops[0]), result_of, round=round.id)
    assert (found.outcome.makers, found.outcome.together, found.makers) == (0, 0, [])


def test_a_pledge_after_the_closing_is_refused(shops: list[Workshop]) -> None:
    round, oil = opened(shops[0]), offered(shops[0])
    with pytest.raises(Conflict):
        pledged(shops[1], round, oil, "1 kg", now=EVENING)
    closed: Any = shops[0].does(close_round, round=round.id, now=MORNING)
    assert closed.closed_at == MORNING
    with pytest.raises(Conflict):
        pledged(shops[1], round, oil, "1 kg")
    with pytest.raises(Conflict):
        does(coordinator(shops[1]), close_round, round=round.id, now=MORNING)
    due = shops[0].does(lambda actor: Outbox.objects.get(subject=round.id).due_at)
    assert due == MORNING, "what is owed is due at once"


def test_who_may_open_and_close(shops: list[Workshop]) -> None:
    north, mill, _ = shops
    with pytest.raises(Invalid, match="coordinator"):
        north.does(open_round, name="Mine", buyer=mill.actor.maker, closes_at=EVENING, now=MORNING)
    with pytest.raises(Forbidden):
        mill.does(close_round, round=opened(north).id, now=MORNING)
    with pytest.raises(Invalid, match="later"):
        opened(north, closes_at=MORNING)
    elsewhere = open_workshop("Hill Bench")
    with pytest.raises(NotFound):
        elsewhere.does(round_for, opened(north).id)
    own = mill.formula("Balm", [(mill.material("Wax"), "100")]).formula.material
    with pytest.raises(Invalid, match="Only you"):
        pledged(mill, opened(north), own, "1 kg")


def test_past_all_verbs_the_database_keeps_pledges_apart(shops: list[Workshop]) -> None:
    """No maker writes rounds of others, outcomes or shares, or reads all pledges."""
    north, mill, _ = shops
    round, oil = opened(north), offered(north)
    row = pledged(north, round, oil, "4 kg")
    about = {"coop_id": north.coop.id, "round": round}
    writes: list[Callable[[], Any]] = [
        lambda: OrderRound.objects.create(
            coop_id=north.coop.id,
            name="Theirs",
            buyer_id=north.actor.maker,
            opened_at=MORNING,
            closes_at=EVENING,
            person_id=mill.actor.person_id,
        ),
        lambda: RoundClosing.objects.create(**about, closed_at=MORNING),
        lambda: RoundShare.objects.create(
            **about,
            maker_id=mill.actor.maker,
            alone=1,
            amount=0,
            leftover_amount=0,
            alone_orders=[],
        ),
        lambda: RoundPledge.objects.create(
            **about,
            maker_id=north.actor.maker,
            material=oil,
            quantity=1,
            pledged_at=MORNING,
            person_id=mill.actor.person_id,
        ),
        lambda: RoundPledge.objects.filter(id=row.id).update(quantity=1),
    ]
    for write in writes[:-1]:
        with pytest.raises(DatabaseError), acting_as(mill.actor):
            write()
    with pytest.raises(DatabaseError), acting_as(north.actor):
        writes[-1]()
    for actor in (mill.actor, coordinator(mill)):
        with acting_as(actor):
            assert not RoundPledge.objects.exists()
            with connection.cursor() as cursor:
                cursor.execute("select * from ledger_round_pledges(%s)", [round.id])
                assert cursor.fetchall() == [], "of an open round nobody reads all"
    with pytest.raises(NotFound):
        mill.does(lambda actor: close(round.id, MORNING, person=None))


def test_of_a_closed_round_no_maker_reads_all_pledges(shops: list[Workshop]) -> None:
    north, mill, _ = shops
    round = opened(north)
    pledged(north, round, offered(north), "4 kg")
    does(coordinator(north), close_round, round=round.id, now=MORNING)
    with transaction.atomic(), connection.cursor() as cursor:
        set_walls(north.coop.id, mill.actor.maker)
        cursor.execute("select * from ledger_round_pledges(%s)", [round.id])
        assert cursor.fetchall() == []


def own_offer(shop: Workshop, oil: Material, price: int) -> None:
    """A pack of 5 kg that nobody else is offered, without freight."""
    seller = shop.does(add_supplier, name=f"Oils of one, at {price}.00")
    pack, facts = parse_quantity("5 kg"), PriceFacts(TODAY, D(price))
    shop.does(add_offer, supplier=seller.id, material=oil.id, pack=pack, price=facts, opened=False)


def test_a_maker_pays_no_more_than_by_its_own_offers(shops: list[Workshop]) -> None:
    """Each alone pays 68.00 for a pack by the offers of all, and two packs are 108.00. By its own
    Mill Bench pays 46.00, and of the 6.00 that both save has half; its figure is its own."""
    north, mill, quay = shops
    round, oil = opened(north), offered(north)
    own_offer(mill, oil, 46)
    for shop in (north, mill):
        pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(north, round), EVENING)
    seen: Any = mill.does(result_of, round=round.id)
    (share,) = [one.share for one in seen.makers]
    assert (share.alone, share.amount, seen.own.cost) == (D(68), D(43), D(46))
    assert seen.own.orders[0]["goods"] == "46.000000"
    for actor in (north.actor, quay.actor, coordinator(north)):
        assert does(actor, result_of, round=round.id).own is None
        with acting_as(actor):
            assert not RoundOwnAlone.objects.exists()
    assert does(coordinator(north), result_of, round=round.id).outcome.apart == D(136)


def test_who_does_better_by_its_own_offers_takes_no_part(shops: list[Workshop]) -> None:
    """The other has nothing to gain beside 39.00; and whoever acts for the co-op sees a pledge that
    would have cost too much."""
    north, mill, _ = shops
    round, oil = opened(north), offered(north)
    own_offer(mill, oil, 39)
    for shop in (north, mill):
        pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(north, round), EVENING)
    seen: Any = mill.does(result_of, round=round.id)
    ((line,),) = [one.lines for one in seen.makers]
    assert (line.dropped, line.price, seen.own.cost) == ("too_dear", D("13.5"), D(39))
    told = does(coordinator(north), result_of, round=round.id)
    assert [one.share and one.share.amount for one in told.makers] == [None, D(68)]


def test_past_all_verbs_the_database_tells_each_its_own_part(shops: list[Workshop]) -> None:
    """Of two, what is ordered less one's own is the other's: only the buyer, who hands it out, and
    whoever acts for the co-op are told all."""
    north, mill, quay = shops
    round, oil = opened(north), offered(north)
    for shop, grams in ((north, "3.3 kg"), (mill, "4.4 kg")):
        pledged(shop, round, oil, grams)
    close_and_reckon(owed(north, round), EVENING)
    north.does(place_orders, round=round.id, happened_at=EVENING)

    def told(actor: Actor, function: str) -> list[tuple[Any, ...]]:
        with acting_as(actor), connection.cursor() as cursor:
            cursor.execute(f"select * from {function}(%s)", [round.id])
            return list(cursor.fetchall())

    for actor in (north.actor, coordinator(north)):
        dues = told(actor, "ledger_round_dues")
        assert [(row[1], row[4]) for row in dues] == [
            (north.actor.maker, D(3300)),
            (mill.actor.maker, D(4400)),
        ]
        ((_, ordered, goods, written, to_come, *came),) = told(actor, "ledger_round_delivered")
        assert (ordered, goods, written, to_come, came) == (10_000, 80, True, 10_000, [0] * 4)
    (own,) = told(mill.actor, "ledger_round_dues")
    assert (own[1], own[2], own[4]) == (mill.actor.maker, "Mill Bench", D(4400))
    (row,) = told(mill.actor, "ledger_round_delivered")
    assert row == (oil.id, None, None, True, None, None, None, None, None)
    for function in ("ledger_round_dues", "ledger_round_delivered"):
        assert told(quay.actor, function) == []


def test_a_share_above_the_cost_alone_is_refused_by_the_database(shops: list[Workshop]) -> None:
    round = opened(shops[0])
    with pytest.raises(DatabaseError) as refused, acting_as(coordinator(shops[0])):
        RoundShare.objects.create(
            coop_id=round.coop_id,
            round=round,
            maker_id=shops[1].actor.maker,
            alone=D("10.00"),
            amount=D("10.01"),
            leftover_amount=0,
            alone_orders=[],
        )
    assert refused_by(refused.value) == "round_share_not_above_alone"
    with pytest.raises(DatabaseError) as refused, acting_as(coordinator(shops[0])):
        RoundOutcome.objects.create(
            coop_id=round.coop_id,
            round=round,
            reckoned_at=EVENING,
            makers=2,
            together=20,
            shared=20,
            apart=19,
            least_excess=0,
            largest_excess=0,
            groups=3,
            proven=True,
        )
    assert refused_by(refused.value) == "round_dearer_apart"


def test_totals_hide_what_one_of_them_would_tell(shops: list[Workshop]) -> None:
    round, oil = opened(shops[0]), offered(shops[0])
    actor = coordinator(shops[0])
    for shop in shops[:2]:
        pledged(shop, round, oil, "4 kg")
    assert [one.quantity for one in does(actor, totals_of, round=round)] == [8000]
    does(actor, close_round, round=round.id, now=MORNING)
    assert shops[0].does(totals_of, round=round) == []
    again = opened(shops[0])
    for shop in shops:
        pledged(shop, again, oil, "4 kg")
    pledged(shops[0], again, oil, "3 kg")
    assert shops[0].does(totals_of, round=again) == []
    does(actor, close_round, round=again.id, now=MORNING)
    (told,) = shops[0].does(totals_of, round=again)
    assert (told.makers, told.quantity) == (3, D(11000))
    assert len(shops[0].does(lambda a: list(pledges_of(a, again.id)))) == 2


def test_nothing_is_ordered_above_the_budget_nor_of_whom_is_left_out(
    shops: list[Workshop],
) -> None:
    """Two packs of the one are 108.00; the other sells a pack for 1.00, and is left out."""
    north, mill, _ = shops
    oil = offered(north)
    cheap = does(coordinator(north), add_supplier, name="Bulk oils, by the ship")
    facts = {"pack": parse_quantity("5 kg"), "price": PriceFacts(TODAY, D(1)), "opened": True}
    does(coordinator(north), add_offer, supplier=cheap.id, material=oil.id, **facts)
    for budget, cost in ((D(108), D(108)), (D("107.99"), None)):
        round = opened(north, budget=budget, without=[cheap.id])
        for shop in (north, mill):
            pledged(shop, round, oil, "4 kg")
        close_and_reckon(owed(north, round), EVENING)
        found = does(coordinator(north), result_of, round=round.id)
        dropped = {line.dropped for one in found.makers for line in one.lines}
        if cost is None:
            assert (found.outcome.over_budget, found.outcome.makers) == (D(108), 0)
            assert (dropped, found.orders) == ({"over_budget"}, [])
        else:
            assert (found.outcome.together, found.outcome.over_budget) == (cost, None)
            assert (dropped, [one.share.alone for one in found.makers]) == ({""}, [D(68), D(68)])
    with pytest.raises(Invalid, match="budget"):
        opened(north, budget=D(0))
    with pytest.raises(NotFound):
        opened(north, without=[oil.id])


def test_no_more_is_left_over_than_all_use_in_time(shops: list[Workshop]) -> None:
    """A large pack is cheaper, and keeps for a month in which both use 6 kg; where one does not say
    what it uses, it may use it all."""
    north, mill, _ = shops
    oil = offered(north)
    seller = does(coordinator(north), add_supplier, name="Oils that do not keep")
    price = PriceFacts(TODAY, D(30), shelf_life_days=30)
    facts = {"pack": parse_quantity("25 kg"), "price": price, "opened": True}
    does(coordinator(north), add_offer, supplier=seller.id, material=oil.id, **facts)
    for use, together in ((parse_quantity("3 kg"), D(68)), (None, D(30))):
        round = opened(north)
        pledged(north, round, oil, "2 kg", use_per_month=parse_quantity("3 kg"))
        pledged(mill, round, oil, "2 kg", use_per_month=use)
        close_and_reckon(owed(north, round), EVENING)
        found = does(coordinator(north), result_of, round=round.id)
        assert found.outcome.together == together
    (own,) = north.does(lambda actor: list(pledges_of(actor, round.id)))
    assert own.use_per_month == D(3000)
