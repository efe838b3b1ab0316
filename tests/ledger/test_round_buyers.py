"""The maker that is to buy for all is asked, and orders nothing before it has agreed."""

from datetime import timedelta

import pytest
from django.db import DatabaseError

from ledger.access import acting_as
from ledger.errors import Conflict, Forbidden, Invalid
from ledger.explained_moves import BETWEEN_MAKERS
from ledger.ids import new_id
from ledger.models import RoundBuyerAnswer, RoundOrder, RoundPlacement
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from ledger.round_buyers import answer_as_buyer, asked_to_buy
from ledger.round_closing import close_and_reckon
from ledger.round_ordering import place_orders
from ledger.rounds import open_round, round_for
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.ordering_together import EVENING, asked, coordinator, does, offered, owed, pledged

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shops(database: object) -> list[Workshop]:
    """Two makers of one co-op."""
    first = open_workshop("North Bench")
    return [first, open_workshop("Mill Bench", coop=first.coop)]


def waiting(shop: Workshop) -> list[object]:
    return shop.does(lambda actor: [row.id for row in asked_to_buy(actor)])


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
