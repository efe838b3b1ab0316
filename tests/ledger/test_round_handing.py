"""A round handed out behind its walls: what stands in its way, who sees what, and what is kept."""

import json
from dataclasses import replace
from typing import Any

import pytest
from django.db import DatabaseError

from ledger.access import acting_as
from ledger.decanting import Drawn, decant
from ledger.errors import Conflict, Forbidden, Invalid, LotNotReleased, NotEnough, NotFound
from ledger.explained_moves import BETWEEN_MAKERS
from ledger.ids import new_id
from ledger.issuing import Taken, issue, return_to_supplier
from ledger.models import Custody, Lot, Membership, Movement, RoundHandOut, RoundPortion, Transfer
from ledger.ordering import end_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_handing import DECIDERS, HAND_OUT, hand_out, handing_out
from ledger.round_ordering import place_orders
from ledger.statements import run
from tests.factories import D, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.ordering_together import EVENING, coordinator, does, offered, opened, owed, pledged

pytestmark = pytest.mark.usefixtures("database")
# Two packs of 5 kg at 40.00 and 28.00 of freight: 108.00 for nine kilograms that were pledged.
PLEDGED = ("4 kg", "3 kg", "2 kg")


@pytest.fixture
def shops(database: object) -> list[Workshop]:
    """Three makers of one co-op; the first buys."""
    first = open_workshop("North Bench")
    return [first, *(open_workshop(name, coop=first.coop) for name in ("Mill Bench", "Quay Bench"))]


def ordered(shops: list[Workshop]) -> tuple[Any, Any]:
    """A round of oil whose order is written."""
    round, oil = opened(shops[0]), offered(shops[0])
    for shop, quantity in zip(shops, PLEDGED, strict=True):
        pledged(shop, round, oil, quantity)
    close_and_reckon(owed(shops[0], round), EVENING)
    (order,) = shops[0].does(place_orders, round=round.id, happened_at=EVENING)
    return round, order


def came(
    shop: Workshop, order: Any, quantity: str, price: str, release: str | None = "seen"
) -> Lot:
    """A delivery of the order's only line, with its freight."""
    (line,) = shop.does(lambda actor: list(order.lines.all()))
    delivered = Delivered(
        material=str(line.material_id),
        supplier_lot="S-1",
        quantity=parse_quantity(quantity),
        price=D(price),
        order_line=str(line.id),
    )
    return shop.does(
        receive,
        supplier=order.supplier_id,
        lines=[delivered],
        charges=[],
        happened_at=EVENING,
        release_basis=release,
    ).lots[0]


def amounts(told: Any) -> list[tuple[str, Any, Any]]:
    return [
        (one.maker_name, sum(line.quantity for line in one.lines), one.amount)
        for one in told.makers
    ]


def test_what_is_not_there_yet_is_named(shops: list[Workshop]) -> None:
    north, mill, _ = shops
    round = opened(north)
    with pytest.raises(Conflict, match="not reckoned"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    oil = offered(north)
    for shop in shops:
        pledged(shop, round, oil, "3 kg")
    close_and_reckon(owed(north, round), EVENING)
    assert north.does(handing_out, round.id).missing == [
        "The buyer has not written the orders of this round yet."
    ]
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    with pytest.raises(Conflict, match="Still to come: 10 kg of Oil to share"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    told = mill.does(handing_out, round.id)
    assert (told.missing, told.makers, told.paid) == (
        ["Not all that was ordered has come yet."],
        (),
        None,
    )
    north.does(end_order, order=order.id, reason="sold out", happened_at=EVENING)
    with pytest.raises(Conflict, match="Nothing came"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    with pytest.raises(Forbidden, match="North Bench"):
        mill.does(hand_out, round=round.id, happened_at=EVENING)
    with pytest.raises(NotFound):
        open_workshop("Elsewhere").does(hand_out, round=round.id, happened_at=EVENING)


def test_it_is_done_once_and_each_sees_its_own(shops: list[Workshop]) -> None:
    """The goods for 80.00, and no freight was asked after all: 28.00 less than was split."""
    north, mill, quay = shops
    round, order = ordered(shops)
    lot = came(north, order, "10 kg", "80.00")
    look = north.does(handing_out, round.id)
    assert look.done is None
    done = north.does(hand_out, round=round.id, happened_at=EVENING, note="on Saturday")
    assert amounts(done) == amounts(look)
    assert (done.paid, done.within_alone) == (D(80), True)
    assert sum(one.amount or 0 for one in done.makers) == 80
    assert sum(line.quantity or 0 for one in done.makers for line in one.lines) == 10000
    assert [(one.maker_id, one.lot.id) for one in done.moves] == [
        (shop.actor.maker, lot.id) for shop in sorted((mill, quay), key=lambda s: s.actor.maker)
    ]
    with pytest.raises(Conflict, match="is handed out"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    for shop, name in ((mill, "Mill Bench"), (quay, "Quay Bench")):
        told = shop.does(handing_out, round.id)
        ((seen_name, quantity, amount),) = amounts(told)
        assert seen_name == name
        assert (told.paid, len(told.moves)) == (D(80), 1)
        assert shop.held(lot) == (quantity, amount)
        with acting_as(shop.actor):
            assert Custody.objects.get(maker_id=shop.actor.maker, lot=lot).status == "released"
            assert Transfer.objects.get().note == "on Saturday"
            assert {row.amount for row in Movement.objects.all()} == {amount}
            assert {row.to_maker_id for row in RoundPortion.objects.all()} == {shop.actor.maker}
    seen = does(coordinator(north), handing_out, round=round.id)
    assert (amounts(seen), seen.paid, seen.moves) == (amounts(done), D(80), [])
    assert north.disagreements() == []


def test_who_may_not_release_gets_its_goods_in_quarantine(shops: list[Workshop]) -> None:
    north, mill, quay = shops
    round, oil = opened(north), offered(north)
    for shop in shops:
        pledged(shop, round, oil, "3 kg")
    close_and_reckon(owed(north, round), EVENING)
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    lot = came(north, order, "10 kg", "80.00")
    own = {"maker_id": mill.actor.maker}
    mill.does(lambda actor: Membership.objects.filter(**own).update(role="books"))
    north.does(hand_out, round=round.id, happened_at=EVENING)
    stands = {}
    for shop in (mill, quay):
        with acting_as(shop.actor):
            stands[shop] = Custody.objects.get(maker_id=shop.actor.maker, lot=lot).status
    assert stands == {mill: "quarantine", quay: "released"}


def test_only_what_is_released_and_free_is_handed_out(shops: list[Workshop]) -> None:
    north, _, _ = shops
    round, order = ordered(shops)
    first = came(north, order, "5 kg", "40.00", release=None)
    second = came(north, order, "5 kg", "40.00")
    with pytest.raises(LotNotReleased, match=f"The lot {first.code} of Oil to share is not"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    (missing,) = north.does(handing_out, round.id).missing
    assert first.code in missing
    north.decide(first, "release")
    spilt = [Taken(second.id, parse_quantity("4.8 kg"))]
    north.does(issue, lines=spilt, purpose="gift", reason="given away", happened_at=EVENING)
    with pytest.raises(NotEnough, match=r"Only 5\.2 kg of Oil to share is free"):
        north.does(hand_out, round=round.id, happened_at=EVENING)
    other = north.receive(first.material, "9 kg", "9.00", at=EVENING)
    with pytest.raises(Invalid, match="did not come of this round") as refused:
        north.does(hand_out, round=round.id, happened_at=EVENING, lots=[first.id, other.id])
    assert refused.value.pointer == "/lots/1"
    with pytest.raises(NotFound) as unknown:
        north.does(hand_out, round=round.id, happened_at=EVENING, lots=[new_id()])
    assert unknown.value.pointer == "/lots/0"
    assert not north.does(lambda actor: RoundHandOut.objects.exists())


def test_what_went_back_to_the_supplier_is_nobody_s_to_pay(shops: list[Workshop]) -> None:
    """Half was mouldy: 5 of 10 kg went back, so five are handed out as nine were pledged."""
    north, _, _ = shops
    round, order = ordered(shops)
    good, bad = (came(north, order, "5 kg", "40.00") for _ in range(2))
    back = [Taken(bad.id, parse_quantity("5 kg"))]
    north.does(return_to_supplier, lines=back, reason="mouldy", happened_at=EVENING)
    done = north.does(hand_out, round=round.id, happened_at=EVENING)
    assert done.paid == 40
    assert {one.lot.id for one in done.moves} == {good.id}
    got = {name: (quantity, amount) for name, quantity, amount in amounts(done)}
    assert got["North Bench"][0] == D("2222.22")
    assert got["Mill Bench"][0] == D("1666.67")
    assert got["Quay Bench"][0] == D("1111.11")
    assert sum(amount for _, amount in got.values()) == 40


def test_what_was_drawn_off_is_handed_out_as_well(shops: list[Workshop]) -> None:
    north, mill, _ = shops
    round, order = ordered(shops)
    drum = came(north, order, "10 kg", "80.00")
    promised = {
        one.maker_id: one.lines[0].promised for one in north.does(handing_out, round.id).makers
    }
    draws = [Drawn(net=parse_quantity(f"{promised[mill.actor.maker]} g"))]
    made = north.does(decant, lot=drum.id, draws=draws, happened_at=EVENING, emptied=False)
    (can,) = [draw.lot_id for draw in north.does(lambda actor: list(made.decanting.draws.all()))]
    done = north.does(hand_out, round=round.id, happened_at=EVENING, lots=[drum.id, can])
    assert {one.maker_id: one.lot.id for one in done.moves}[mill.actor.maker] == can


def test_the_database_itself_refuses_what_the_round_has_not_promised(
    shops: list[Workshop],
) -> None:
    """Whoever calls the function: for another maker, more than promised, another sum, on hold."""
    north, mill, _ = shops
    round, order = ordered(shops)
    lot = came(north, order, "10 kg", "80.00")
    move = {"maker": str(mill.actor.maker), "material": str(lot.material_id), "lot": str(lot.id)}
    move |= {name: str(new_id()) for name in ("id", "out_entry", "in_entry")}
    move |= {"quantity": "100", "amount": "80", "entered": "100 g"}

    def tried(shop: Workshop, paid: int = 80, **changed: str) -> str | None:
        about = [new_id(), round.id, EVENING, shop.actor.person_id, "", D(paid), True, 2, DECIDERS]
        given = [*about, json.dumps([move | changed])]
        with pytest.raises(DatabaseError) as refused, acting_as(shop.actor):
            run(HAND_OUT, given)
        return refused_by(refused.value)

    assert tried(mill) == "round_is_there"
    assert tried(north, paid=81) == "round_portions_as_split"
    assert tried(north, quantity="9000") == "round_portions_as_split"
    assert tried(north, maker=str(new_id())) == "round_portions_as_split"
    north.decide(lot, "hold")
    assert tried(north) == "round_lot_released"
    assert BETWEEN_MAKERS["round_portions_as_split"]({}).code == "conflict"
    held = {"code": lot.code, "status": "hold"}
    assert BETWEEN_MAKERS["round_lot_released"](held).facts == {"status": "hold"}
    assert BETWEEN_MAKERS["round_handed_out_once"]({}).code == "conflict"
    for model in (RoundHandOut, RoundPortion):
        with pytest.raises(DatabaseError), acting_as(replace(north.actor)):
            model(coop_id=north.coop.id).save(force_insert=True)
