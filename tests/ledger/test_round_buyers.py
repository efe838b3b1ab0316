"""The maker that is to buy for all is asked, and orders nothing before it has agreed."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext

from ledger.access import Actor, acting_as
from ledger.errors import Conflict, Forbidden, Invalid
from ledger.explained_moves import BETWEEN_MAKERS
from ledger.ids import new_id
from ledger.models import RoundBuyer, RoundBuyerAnswer, RoundOrder, RoundPlacement
from ledger.ordering import Ordered, end_order, write_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_buyers import (
    answer_as_buyer,
    ask_another,
    asked_in,
)
from ledger.round_closing import close_and_reckon
from ledger.round_handing import hand_out, handing_out
from ledger.round_ordering import place_orders
from ledger.round_results import result_of
from ledger.round_waiting import rounds_waiting
from ledger.rounds import close_round, open_round, round_for
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.ordering_together import (
    EVENING,
    asked,
    coordinator,
    does,
    offered,
    opened,
    owed,
    pledged,
)

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shops(database: object) -> list[Workshop]:
    """Two makers of one co-op."""
    first = open_workshop("North Bench")
    return [first, open_workshop("Mill Bench", coop=first.coop)]


def waiting(shop: Workshop) -> list[object]:
    return [row.id for row in shop.does(rounds_waiting, now=MORNING, most=8).asked]


def test_many_rounds_of_one_list_hide_none_of_another(shops: list[Workshop]) -> None:
    """One buyer is still to answer for a round that closes after all that others may pledge in."""
    north, mill = shops
    for hours in range(10):
        opened(mill, closes_at=EVENING + timedelta(hours=hours))
    last = asked(north, closes_at=EVENING + timedelta(days=9))
    with CaptureQueriesContext(connection) as queries:
        found = north.does(rounds_waiting, now=MORNING, most=1)
    assert sum("ledger_orderround" in one["sql"] for one in queries) == 1
    assert [row.id for row in found.asked] == [last.id]
    assert len(found.to_pledge) == 1
    assert found.more == {"to_pledge"}


def test_whoever_is_asked_answers_and_may_think_again(shops: list[Workshop]) -> None:
    north, mill = shops
    first, second = asked(north, closes_at=EVENING + timedelta(hours=1)), asked(north)
    assert (waiting(north), waiting(mill)) == ([second.id, first.id], [])
    with pytest.raises(Forbidden, match="North Bench"):
        mill.does(answer_as_buyer, round=first.id, agrees=True, now=MORNING)
    with pytest.raises(Invalid, match="Say why not") as refused:
        north.does(answer_as_buyer, round=first.id, agrees=False, reason=" ", now=MORNING)
    assert refused.value.pointer == "/reason"
    for agrees in (False, True):
        north.does(answer_as_buyer, round=first.id, agrees=agrees, reason="busy", now=MORNING)
        seen = does(coordinator(north), round_for, id=first.id)
        assert (seen.buyer_agrees, seen.buyer_answered_at) == (agrees, MORNING)
    assert waiting(north) == [second.id]
    # Of a round in which nobody wants anything nothing is asked any more.
    close_and_reckon(owed(north, second), EVENING)
    assert waiting(north) == []


def test_who_opens_a_round_to_buy_in_it_has_agreed(shops: list[Workshop]) -> None:
    north, _ = shops
    about = {"name": "Own", "buyer": north.actor.maker, "closes_at": EVENING, "now": MORNING}
    opened = north.does(open_round, **about)
    seen = does(coordinator(north), round_for, id=opened.id)
    assert (seen.buyer_agrees, waiting(north)) == (True, [])


def test_nothing_is_ordered_in_the_name_of_who_has_not_agreed(shops: list[Workshop]) -> None:
    north, mill = shops
    round, oil = asked(north), offered(north)
    pledged(mill, round, oil, "4 kg")
    close_and_reckon(owed(north, round), EVENING)
    with pytest.raises(Conflict, match="has not agreed"):
        north.does(place_orders, round=round.id, happened_at=EVENING)
    order = north.does(lambda actor: RoundOrder.objects.get())
    line = Ordered(str(oil.id), parse_quantity("5 kg"), D(40))
    kept = north.does(write_order, supplier=order.supplier_id, lines=[line], happened_at=EVENING)
    own = {"coop_id": north.coop.id, "maker_id": north.actor.maker, "order": order}
    with pytest.raises(DatabaseError) as refused, acting_as(north.actor):
        RoundPlacement.objects.create(**own, purchase_order=kept, number=kept.number)
    assert refused_by(refused.value) == "round_buyer_agrees"
    north.does(answer_as_buyer, round=round.id, agrees=True, now=EVENING)
    north.does(place_orders, round=round.id, happened_at=EVENING)
    with pytest.raises(Conflict, match="what was agreed stands"):
        north.does(answer_as_buyer, round=round.id, agrees=False, reason="late", now=EVENING)
    assert BETWEEN_MAKERS["round_buyer_agrees"]({}).code == "conflict"


def test_nobody_answers_for_another(shops: list[Workshop]) -> None:
    north, mill = shops
    round = asked(north)
    for shop in (mill, north):
        answer = RoundBuyerAnswer(
            id=new_id(),
            coop_id=north.coop.id,
            round=round,
            agrees=shop is mill,
            answered_at=MORNING,
            person_id=shop.actor.person_id,
        )
        with pytest.raises(DatabaseError) as refused, acting_as(shop.actor):
            answer.save(force_insert=True)
        assert refused_by(refused.value) == ("round_buyer_says_why_not" if shop is north else None)


def test_another_is_asked_where_the_first_declines(shops: list[Workshop]) -> None:
    """After the reckoning, so that the orders go over; each fact stands beside the others."""
    north, mill = shops
    round, oil = asked(north), offered(north)
    for shop in shops:
        pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(north, round), EVENING)
    run, about = coordinator(north), {"round": round.id, "now": EVENING}
    with pytest.raises(Forbidden, match="coordinator"):
        north.does(ask_another, buyer=mill.actor.maker, **about)
    with pytest.raises(Invalid, match="is asked already") as refused:
        does(run, ask_another, buyer=north.actor.maker, **about)
    assert refused.value.pointer == "/buyer"
    north.does(answer_as_buyer, agrees=True, **about)
    with pytest.raises(Conflict, match="North Bench has agreed"):
        does(run, ask_another, buyer=mill.actor.maker, **about)
    north.does(answer_as_buyer, agrees=False, reason="no room", **about)
    found = does(run, ask_another, buyer=mill.actor.maker, **about)
    assert (found.buying_name, found.buyer_agrees, found.asked_number) == ("Mill Bench", None, 1)
    assert (waiting(north), waiting(mill)) == ([], [round.id])
    told = mill.does(asked_in, round=found)
    assert [(one.maker_name, one.agrees, one.said) for one in told] == [
        ("North Bench", False, "no room"),
        ("Mill Bench", None, ""),
    ]
    with pytest.raises(Forbidden, match="Mill Bench"):
        north.does(answer_as_buyer, agrees=True, **about)
    with pytest.raises(Conflict, match="has not agreed"):
        mill.does(place_orders, round=round.id, happened_at=EVENING)
    mill.does(answer_as_buyer, agrees=True, **about)
    with pytest.raises(Forbidden, match="Mill Bench"):
        north.does(place_orders, round=round.id, happened_at=EVENING)
    assert [len(shop.does(result_of, round=round.id).orders) for shop in shops] == [0, 1]
    (order,) = mill.does(place_orders, round=round.id, happened_at=EVENING)
    assert mill.does(lambda actor: order.lines.get().quantity) == 10000
    assert len(does(run, result_of, round=round.id).orders) == 1
    mill.does(end_order, order=order.id, reason="sold out", happened_at=EVENING)
    assert mill.does(handing_out, round.id).missing == ["Nothing came of the orders of this round."]


def test_the_database_holds_orders_back_until_the_newest_buyer_agrees(
    shops: list[Workshop],
) -> None:
    """Whatever the one before has said, and whoever writes the rows."""
    north, mill = shops
    round, oil = asked(north), offered(north)
    pledged(mill, round, oil, "4 kg")
    close_and_reckon(owed(north, round), EVENING)
    row = {"coop_id": north.coop.id, "round": round, "person_id": north.actor.person_id}

    def tried(actor: Actor, made: Any) -> str | None:
        with pytest.raises(DatabaseError) as refused, acting_as(actor):
            made.save(force_insert=True)
        return refused_by(refused.value)

    def naming(shop: Workshop, number: int) -> RoundBuyer:
        return RoundBuyer(
            **row, id=new_id(), number=number, buyer_id=shop.actor.maker, asked_at=EVENING
        )

    run = coordinator(north)
    assert tried(north.actor, naming(mill, 1)) is None, "the wall"
    assert tried(run, naming(north, 1)) == "round_buyer_is_another"
    assert tried(run, naming(mill, 0)) == "round_buyer_after_the_first"
    does(run, ask_another, round=round.id, buyer=mill.actor.maker, now=EVENING)
    assert tried(run, naming(north, 1)) == "round_buyer_asked_once"
    for shop, number, refusal in ((mill, 0, "round_buyer_was_asked"), (north, 1, None)):
        said = RoundBuyerAnswer(**row, id=new_id(), asked=number, agrees=True, answered_at=EVENING)
        assert tried(shop.actor, said) == refusal
    mill.does(answer_as_buyer, round=round.id, agrees=True, now=EVENING)
    assert tried(run, naming(north, 2)) == "round_buyer_has_agreed"
    # The orders of the one before are there still, and nobody writes them.
    old = north.does(lambda actor: RoundOrder.objects.get())
    line = Ordered(str(oil.id), parse_quantity("5 kg"), D(40))
    kept = north.does(write_order, supplier=old.supplier_id, lines=[line], happened_at=EVENING)
    own = {"coop_id": north.coop.id, "maker_id": north.actor.maker, "order": old}
    placement = RoundPlacement(**own, id=new_id(), purchase_order=kept, number=kept.number)
    assert tried(north.actor, placement) == "round_buyer_agrees"
    mill.does(place_orders, round=round.id, happened_at=EVENING)
    assert tried(run, naming(north, 2)) == "round_buyer_asked_before_orders"
    for name in ("was_asked", "asked_once", "has_agreed", "is_another", "asked_before_orders"):
        assert BETWEEN_MAKERS[f"round_buyer_{name}"]({}).code == "conflict"


def test_whoever_buys_closes_the_round_and_is_told_what_waits(shops: list[Workshop]) -> None:
    north, mill = shops
    round, oil = asked(north), offered(north)
    for shop in shops:
        pledged(shop, round, oil, "4 kg")
    does(coordinator(north), ask_another, round=round.id, buyer=mill.actor.maker, now=MORNING)
    mill.does(answer_as_buyer, round=round.id, agrees=True, now=MORNING)
    with pytest.raises(Forbidden):
        north.does(close_round, round=round.id, now=MORNING)
    mill.does(close_round, round=round.id, now=MORNING)
    close_and_reckon(owed(north, round), EVENING)
    (order,) = mill.does(place_orders, round=round.id, happened_at=EVENING)

    def to_hand_out() -> list[object]:
        return [row.id for row in mill.does(rounds_waiting, now=MORNING, most=8).to_hand_out]

    (line,) = mill.does(lambda actor: list(order.lines.all()))
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    for _ in range(2):
        assert to_hand_out() == []
        came = Delivered(str(oil.id), "S-1", parse_quantity("5 kg"), D(40), order_line=str(line.id))
        mill.does(receive, supplier=order.supplier_id, lines=[came], **about)
    assert to_hand_out() == [round.id]
    assert north.does(rounds_waiting, now=MORNING, most=8).to_hand_out == []
    mill.does(hand_out, round=round.id, happened_at=EVENING)
    assert to_hand_out() == []
    assert mill.disagreements() == []
