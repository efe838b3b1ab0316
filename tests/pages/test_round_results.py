"""What came of a round, on pages: how each figure came about, and who got nothing of it."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from api.pages.round_workings import worked_out
from ledger.catalogue import add_supplier
from ledger.models import RoundOwnAlone, RoundShare, Supplier
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from ledger.round_closing import close_and_reckon
from ledger.round_ordering import place_orders
from ledger.round_results import MakerResult, Result
from ledger.rounds import pledge
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.ordering_together import EVENING, asked, offered, opened, owed, pledged
from tests.pages.browsing import done, shown, signed_in
from tests.pages.figures import amount_in, figures_of, workings_of
from tests.pages.looking import looked_at
from tests.pages.test_rounds import for_the_co_op

MOST = 15


@pytest.fixture(scope="module")
def buyer(database: Any, redis_server: Any) -> Workshop:
    return open_workshop("North Bench")


@pytest.fixture(scope="module")
def other(buyer: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=buyer.coop)


def test_what_one_pays_alone_and_together_opens_and_adds_up(
    buyer: Workshop, other: Workshop
) -> None:
    """4 kg each: alone a pack of 40.00 with 28.00 of freight, together two packs with the same."""
    round, oil = opened(buyer, name="Told in lines"), offered(buyer)
    pledged(buyer, round, oil, "4 kg")
    pledged(other, round, oil, "4 kg", takes_leftover=True)
    close_and_reckon(owed(buyer, round), EVENING)
    page = looked_at(signed_in(other), f"/order-rounds/{round.id}").text
    figures = {one.label: one for one in figures_of(page)}
    assert {one.to for one in figures.values()} == {"#share"}
    told = {one.name: one for one in workings_of(page)}
    assert set(told) == set(figures) == {"Alone", "Together", "Saved", "With leftover"}
    for name, one in told.items():
        assert one.adds_up, name
        assert one.exact == amount_in(figures[name].text), name
    assert [one.name for one in told["With leftover"].parts] == [
        "Together",
        "leftover of Oil to share, kept",
    ]
    rule = shown(signed_in(other).get(f"/order-rounds/{round.id}"))
    assert "nucleolus (D. Schmeidler, 1969)" in rule
    assert "you pledged, you would pay 68.00 USD." in rule
    assert "of two makers, it would tell the other's share" in rule
    alone = [(one.name, one.exact) for one in told["Alone"].parts]
    assert alone == [("goods of Bulk oils", D(40)), ("freight of Bulk oils", D(28))]


def test_who_takes_leftover_alone_is_told_how_each_figure_came_about(
    buyer: Workshop, other: Workshop
) -> None:
    """Of a pack of 5 kg for 40.00 one is left."""
    round, oil = opened(buyer, name="One is left"), offered(buyer)
    pledged(buyer, round, oil, "4 kg")
    only = {"quantity": None, "takes_leftover": True}
    other.does(pledge, round=round.id, material=oil.id, now=MORNING, **only)
    close_and_reckon(owed(buyer, round), EVENING)
    page = looked_at(signed_in(other), f"/order-rounds/{round.id}").text
    figures = {one.label: one for one in figures_of(page)}
    assert {one.to for one in figures.values()} == {"#share"}
    told = {one.name: one for one in workings_of(page)}
    assert [(name, one.exact) for name, one in told.items()] == [
        *[("Alone", D(0)), ("Together", D(0)), ("Saved", D(0))],
        ("With leftover", D(8)),
    ]
    assert set(told) == set(figures)
    assert all(one.adds_up for one in told.values())


def test_what_is_paid_in_coins_adds_up_with_what_it_is_rounded_by() -> None:
    supplier = Supplier(name="Bulk oils")
    order = {"supplier": str(supplier.id), "goods": "40.004", "freight": "28"}
    share = RoundShare(alone=D("68.01"), amount=D(60), alone_orders=[order])
    own = RoundOwnAlone(cost=D("46.01"), orders=[{"goods": "46.006", "freight": "0"}])
    makers = [MakerResult(uuid4(), "North Bench", share, [])]
    facts: Any = {"round": None, "outcome": None, "tells_totals": False, "orders": []}
    result = Result(makers=makers, alone={supplier.id: supplier}, pledges={}, own=own, **facts)
    told = {one.name: one for one in worked_out(result, "USD")}
    for name, more in (("Alone", D("0.006")), ("Alone, by your own offers", D("0.004"))):
        *_, last = parts = told[name].parts
        assert (last.name, last.amount) == ("rounded up to a whole coin", more)
        assert sum(one.amount or 0 for one in parts) == told[name].amount


def test_whose_pledge_was_too_dear_sees_it_as_soon_as_the_round_is_reckoned(
    buyer: Workshop, other: Workshop
) -> None:
    """4 kg each of packs for 40.00, with 28.00 of freight: 13.50 a kilogram, and 9.00 at most."""
    now = datetime.now(UTC) - timedelta(hours=2)
    round = opened(buyer, name="Dear oil", now=now, closes_at=now + timedelta(hours=1))
    oil = offered(buyer)
    pledged(buyer, round, oil, "4 kg", now=now)
    pledged(other, round, oil, "4 kg", now=now, highest_price=D(9))
    north, mill = signed_in(buyer), signed_in(other)
    assert "Too dear for you" not in shown(mill.get("/"))
    closed = now + timedelta(hours=1)
    close_and_reckon(owed(buyer, round), closed)
    told = "Too dear for you Dear oil You get no Oil to share: it would have cost more"
    assert told in shown(mill.get("/"))
    assert "Too dear for you" not in shown(north.get("/")), "its own part it gets"
    (alone,) = re.findall(r'"(/order/plan\?needs=1[^"]+)"', mill.get("/").content.decode())
    assert 'value="Oil to share"' in mill.get(alone.replace("&amp;", "&")).content.decode()
    page = shown(mill.get(f"/order-rounds/{round.id}"))
    assert "took no part: it would have cost more than was accepted at most: 13.50" in page
    assert looked_at(mill, "/").queries <= MOST
    supplier = other.does(add_supplier, name="Their own")
    line = Ordered(str(oil.id), parse_quantity("4 kg"), D(50))
    write = {"supplier": supplier.id, "lines": [line]}
    other.does(write_order, **write, happened_at=closed + timedelta(minutes=1))
    assert "Too dear for you" not in shown(mill.get("/"))


def test_who_gets_leftover_or_bought_for_all_is_told_no_more_than_is_true(
    buyer: Workshop, other: Workshop
) -> None:
    """Both would pay more than they accept for 4 kg. Mill Bench gets a kilogram that is left, at
    8.00; and the orders that North Bench writes for all are not of its own pledge."""
    now = datetime.now(UTC) - timedelta(hours=2)
    closed = now + timedelta(hours=1)
    rounds = []
    for shop, name in ((other, "Some is left"), (buyer, "For others")):
        round = opened(buyer, name=name, now=now, closes_at=closed)
        oil, takes = offered(buyer), {"highest_price": D(9), "takes_leftover": shop is other}
        pledged(shop, round, oil, "4 kg", now=now, **takes)
        pledged(buyer if shop is other else other, round, oil, "4 kg", now=now)
        close_and_reckon(owed(buyer, round), closed)
        rounds.append(round)
        buyer.does(place_orders, round=round.id, happened_at=closed + timedelta(minutes=1))
    mill, north = signed_in(other), signed_in(buyer)
    assert "left over from packs for 8.00" in shown(mill.get(f"/order-rounds/{rounds[0].id}"))
    assert "Some is left You get no" not in shown(mill.get("/"))
    assert "For others You get no Oil to share" in shown(north.get("/"))


def test_a_round_that_was_closed_says_so_and_asks_nobody_to_buy_nothing(buyer: Workshop) -> None:
    now = datetime.now(UTC)
    round = asked(buyer, name="Nobody wants any", closes_at=now + timedelta(21), now=now)
    path, own, run = f"/order-rounds/{round.id}", signed_in(buyer), for_the_co_op(buyer)
    assert "pledges until" in shown(own.get(path))
    assert "pledges until" not in done(run, path, do="close", sure="on")
    for page in ("/", path, "/order-rounds"):
        assert f"closed {now:%-d %b %Y}" in shown(own.get(page)).replace("\xa0", " "), page
    # Until it is worked out, what is pledged may want a buyer.
    assert "We buy for all" in shown(own.get(path))
    assert "Ask another maker" in shown(run.get(path))
    close_and_reckon(owed(buyer, round), now)
    for client in (own, run):
        told = shown(client.get(path))
        assert "Nothing is ordered" in told
        assert not re.search("We buy for all|Ask another maker|has not answered", told)
        assert "buyer has not answered" not in shown(client.get("/order-rounds"))
