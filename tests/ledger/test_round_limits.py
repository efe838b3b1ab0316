"""Above one's highest price: the buyer means it, who is touched is told, and nobody's price is."""

import json
from typing import Any

import pytest
from django.db import connection

from ledger.access import Actor, acting_as
from ledger.billing import Wanted, book_bill
from ledger.costing import ChargeKind
from ledger.models import Bill
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_handing import hand_out, handing_out
from ledger.round_late_bills import late_bills, share_late_bills
from ledger.round_limits import AboveHighestPrice
from ledger.round_ordering import place_orders
from tests.factories import D, Workshop, open_workshop
from tests.ordering_together import EVENING, coordinator, does, offered, opened, owed, pledged

pytestmark = pytest.mark.usefixtures("database")
MEANT = {"happened_at": EVENING, "sure": True}


def arrived(price: int) -> tuple[Workshop, Workshop, Any, Any]:
    """Two makers, who pledged 4 kg each of two packs for 80.00 and 28.00 of freight; one at 14.00
    a kilogram at most, where 13.50 were split. The packs came for this price, and no freight."""
    north = open_workshop("North Bench")
    mill = open_workshop("Mill Bench", coop=north.coop)
    round, oil = opened(north), offered(north)
    pledged(north, round, oil, "4 kg", highest_price=D("13.50"))
    pledged(mill, round, oil, "4 kg", highest_price=D(14))
    close_and_reckon(owed(north, round), EVENING)
    (order,) = north.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = north.does(lambda actor: list(order.lines.all()))
    came = Delivered(str(oil.id), "S-1", parse_quantity("10 kg"), D(price), order_line=str(line.id))
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    receipt = north.does(receive, supplier=order.supplier_id, lines=[came], **about).receipt
    return north, mill, round, receipt


def test_dearer_goods_are_handed_out_by_who_means_it() -> None:
    """60.00 for 4 kg are 15.00 a kilogram, what is left of packs being for nothing."""
    north, mill, round, _ = arrived(120)
    told: Any = north.does(handing_out, round.id)
    assert [(one.maker_name, one.more, one.goods_dearer) for one in told.above] == [
        ("North Bench", D(6), True),
        ("Mill Bench", D(6), True),
    ]
    with pytest.raises(AboveHighestPrice) as refused:
        north.does(hand_out, round=round.id, happened_at=EVENING)
    assert refused.value.pointer == "/sure"
    said = str(refused.value.detail)
    assert "Mill Bench, Oil to share: 6.00 more than was split, since its goods cost more" in said
    assert "North Bench" not in said, "it hands out itself"
    assert "14" not in said, "nobody hears what another has named"
    done = north.does(hand_out, round=round.id, **MEANT)
    assert done.done is not None
    (own,) = mill.does(handing_out, round.id).above
    assert (own.maker_id, own.more) == (mill.actor.maker, D(6))


def test_a_late_bill_is_shared_by_who_means_it() -> None:
    """At 112.00 nobody is above 14.00; 10.00 more are for the carrier."""
    north, mill, round, receipt = arrived(112)
    done = north.does(hand_out, round=round.id, happened_at=EVENING)
    assert [one.maker_name for one in done.above] == ["North Bench"]
    assert mill.does(handing_out, round.id).above == []
    assert north.does(late_bills, round.id).above == []
    late = Wanted(Bill.Kind.LATE_CHARGE, D(10), charge_kind=ChargeKind.FREIGHT)
    north.does(book_bill, receipt=receipt.id, bill=late, happened_at=EVENING)
    told = north.does(late_bills, round.id)
    assert {one.maker_name for one in told.above} == {"North Bench", "Mill Bench"}
    with pytest.raises(AboveHighestPrice, match=r"Mill Bench, Oil to share: 7\.00 more"):
        north.does(share_late_bills, round=round.id, happened_at=EVENING)
    assert north.does(share_late_bills, round=round.id, **MEANT).waiting == []
    assert does(coordinator(north), late_bills, round=round.id).above == []


def test_past_all_verbs_only_the_buyer_and_who_is_touched_are_told() -> None:
    north, mill, round, _ = arrived(80)
    quay = open_workshop("Quay Bench", coop=north.coop)
    oil = north.does(handing_out, round.id).makers[0].lines[0].material
    asked = [
        {"maker": str(one.actor.maker), "material": str(oil.id), "quantity": "4000", "amount": "99"}
        for one in (north, mill)
    ]

    def told(actor: Actor) -> set[Any]:
        with acting_as(actor), connection.cursor() as cursor:
            ask = "select maker_id from ledger_round_above_highest(%s, %s::jsonb)"
            cursor.execute(ask, [round.id, json.dumps(asked)])
            return {maker for (maker,) in cursor.fetchall()}

    assert told(north.actor) == {north.actor.maker, mill.actor.maker}
    assert told(mill.actor) == {mill.actor.maker}
    assert told(quay.actor) == told(coordinator(north)) == set()
