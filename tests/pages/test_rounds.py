"""A round on pages: the buyer is asked, and hands out what came after a look at it."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from formulas.undoing import undo
from ledger.access import acting_as
from ledger.billing import Wanted, book_bill
from ledger.costing import ChargeKind
from ledger.models import Bill, Membership, OrderRound, Outbox, PurchaseOrderLine, Receipt
from ledger.outbox import MOST_ATTEMPTS, mark_failed
from ledger.progress import Progress
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.round_closing import close_and_reckon
from ledger.round_ordering import place_orders
from ledger.rounds import close_round
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.ordering_together import EVENING, asked, coordinator, offered, opened, owed, pledged
from tests.pages.browsing import done, refused, sent, shown, signed_in
from tests.pages.figures import workings_of
from tests.pages.looking import looked_at

MOST = 15
STEPS = (
    *("Write these orders", "What is still to come", "Hand out what came", "What is handed out"),
    "What was handed out",
)


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


def rows_of(client: Client, path: str, table: str = "") -> list[str]:
    """The rows of a table as a file, beneath its columns."""
    told = client.get(path, {"as": "csv", "table": table}).content.decode("utf-8-sig")
    return told.splitlines()[1:]


def stands(client: Client, path: str, how: str, offers: str) -> None:
    """How the round's page says that it stands, and which one step of the goods it offers."""
    page = shown(client.get(path))
    assert f"{how} North Bench orders for all" in page
    assert [step for step in STEPS if step in page] == [offers]


def unfolded(client: Client, path: str) -> list[Decimal]:
    """What the workings on a page come to, all of which add up."""
    told = workings_of(client.get(path).content.decode())
    assert all(one.parts and one.adds_up for one in told)
    return sorted(one.exact for one in told)


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
    stands(mill, path, "worked out", "What is handed out")
    stands(north, path, "ordered", "What is still to come")
    assert "Still to come: 10 kg of Oil to share" in shown(north.get(out))
    assert "still to come" in refused(north, out).lower()
    (line,) = buyer.does(lambda actor: list(order.lines.all()))
    came = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(90), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    buyer.does(receive, supplier=order.supplier_id, lines=[came], **about)
    stands(north, path, "ordered", "Hand out what came")
    look = shown(north.get(out))
    assert "Mill Bench To pay 45.00 USD As it was split 54.00 USD" in look
    assert "Paid for what came, and by all together: 90.00 USD." in look
    assert unfolded(north, out) == [45, 45, 54, 54, 90]
    assert looked_at(north, out).queries <= MOST
    assert looked_at(north, path).queries <= MOST
    own = shown(mill.get(out))
    assert "What you get and pay As it was split 54.00 USD" in own
    assert "North Bench hands it out" in own
    assert "45.00" not in own, "of two, what came less one's own is the other's"
    assert "by all together" not in own, "of two it would tell the other's part"
    assert unfolded(mill, out) == [54]
    assert "Hand it out" not in own
    told = done(north, out, note="on Saturday")
    assert "handed out" in told
    assert "on Saturday" in told
    assert "Hand it out" not in told
    assert "is handed out" in refused(north, out)
    for browser in (north, mill):
        stands(browser, path, "handed out", "What was handed out")
    assert f"{path}/late-bills" in north.get(path).content.decode()
    assert "handed out" in shown(mill.get("/order-rounds"))
    own = shown(mill.get(out))
    assert "Out of which lots" in own
    assert "What you get and pay To pay 45.00 USD As it was split 54.00 USD" in own
    assert "/transfers/" in mill.get(out).content.decode()
    assert looked_at(mill, out).queries <= MOST


def for_the_co_op(shop: Workshop) -> Client:
    """A browser of the co-op's coordinator."""
    person = get_user_model().objects.create(username=f"coordinator {uuid4()}")
    actor = replace(coordinator(shop), person_id=person.pk)
    with acting_as(actor):
        Membership.objects.create(coop=shop.coop, maker=None, person=person, role=actor.role)
    return signed_in(replace(shop, actor=actor))


def test_the_coordinator_asks_another_and_a_buyer_is_told_what_waits(
    buyer: Workshop, other: Workshop
) -> None:
    round, oil = asked(buyer, name="Spring, whoever buys"), offered(buyer)
    for shop in (buyer, other):
        pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(buyer, round), EVENING)
    path = f"/order-rounds/{round.id}"
    north, mill, run = signed_in(buyer), signed_in(other), for_the_co_op(buyer)
    done(north, path, do="leave", reason="no room")
    assert "Ask another maker" not in shown(mill.get(path))
    assert "Ask another maker" in shown(run.get(path))
    assert "is asked already" in refused(run, path, do="ask", buyer=str(buyer.actor.maker))
    told = done(run, path, do="ask", buyer=str(other.actor.maker))
    assert "Mill Bench was asked to buy for all and has not answered yet" in told
    assert "North Bench" in told
    assert "declined: no room" in told
    assert "Spring, whoever buys" in shown(mill.get("/"))
    assert "Write these orders" in done(mill, path, do="buy")
    assert looked_at(mill, path).queries <= MOST
    assert "Ask another maker" not in shown(run.get(path))
    done(mill, path, do="write")
    assert "To be handed out" not in shown(mill.get("/"))
    lines = PurchaseOrderLine.objects.filter(order__note=f"Round: {round.name}")
    (line,) = other.does(lambda actor: list(lines.select_related("order")))
    came = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(80), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    other.does(receive, supplier=line.order.supplier_id, lines=[came], **about)
    page = mill.get("/").content.decode()
    assert "To be handed out" in page
    assert f'href="{path}/hand-out"' in page
    done(mill, f"{path}/hand-out")
    assert "To be handed out" not in shown(mill.get("/"))


def received(
    buyer: Workshop, other: Workshop, name: str, dropped: Workshop | None = None
) -> tuple[OrderRound, Receipt]:
    """A round of two makers whose two packs of 5 kg came for 80.00, and its delivery.

    For whom is `dropped` it is too dear.
    """
    round, oil = opened(buyer, name=name), offered(buyer)
    for shop in (buyer, other):
        pledged(shop, round, oil, "4 kg")
    if dropped is not None:
        pledged(dropped, round, oil, "1 kg", highest_price=D("0.01"))
    close_and_reckon(owed(buyer, round), EVENING)
    (order,) = buyer.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = buyer.does(lambda actor: list(order.lines.all()))
    came = Delivered(
        str(line.material_id), "S-1", parse_quantity("10 kg"), D(80), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    return round, buyer.does(receive, supplier=order.supplier_id, lines=[came], **about).receipt


def test_what_was_charged_stands_before_what_was_planned(buyer: Workshop, other: Workshop) -> None:
    """And each table of it is a file; a maker has only its own rows in them."""
    round, _ = received(buyer, other, "Charged as it came")
    north, mill = signed_in(buyer), signed_in(other)
    path, out = f"/order-rounds/{round.id}", f"/order-rounds/{round.id}/hand-out"
    done(north, out)
    for browser in (north, mill):
        came = shown(browser.get(path))
        assert "What you get and pay Charged 40.00 USD Saved against alone 28.00 USD" in came
        assert came.index("Charged") < came.index("What was planned") < came.index("Together")
        assert looked_at(browser, path).queries <= MOST
    linked = '<a href="/orders/'
    assert linked in north.get(path).content.decode()
    assert linked not in mill.get(path).content.decode()
    assert rows_of(mill, path, "shares") == ["Mill Bench,Oil to share,4000,g,54,1000,0,40,0"]
    assert rows_of(north, path, "orders")[0].startswith("Bulk oils,")
    assert rows_of(mill, path, "orders") == []
    assert rows_of(mill, path, "pledges") == ["own,Oil to share,4000,g,"]
    assert rows_of(mill, out) == ["Mill Bench,Oil to share,5000,5000,g,54,40"]
    assert len(rows_of(north, out)) == 2
    assert rows_of(mill, "/settlement")[0].startswith("North Bench,")
    assert "handed out" in "".join(rows_of(mill, "/order-rounds"))


def test_whoever_got_nothing_stands_in_the_file_without_a_charge(
    buyer: Workshop, other: Workshop
) -> None:
    quay = open_workshop("Quay Bench", coop=buyer.coop)
    round, _ = received(buyer, other, "One got nothing", quay)
    path = f"/order-rounds/{round.id}"
    done(signed_in(buyer), f"{path}/hand-out")
    told = rows_of(for_the_co_op(buyer), path, "shares")
    assert [row.rpartition(",0,")[2] for row in told if row.startswith("Quay")] == [","]
    assert len(told) == 3


def test_a_bill_that_comes_later_is_shared_after_a_look(buyer: Workshop, other: Workshop) -> None:
    """Eight kilograms of ten were pledged evenly; the carrier wants 28.00 a week later."""
    round, receipt = received(buyer, other, "Freight came later")
    north, mill = signed_in(buyer), signed_in(other)
    out, path = (f"/order-rounds/{round.id}/{page}" for page in ("hand-out", "late-bills"))
    assert "not handed out yet" in refused(north, path)
    assert path not in north.get(f"/receipts/{receipt.id}").content.decode()
    done(north, out)
    assert path in north.get(out).content.decode()
    assert path in north.get(f"/receipts/{receipt.id}").content.decode()
    assert "Bills that came later" not in shown(north.get("/"))
    assert "Nothing waits to be shared" in shown(north.get(path))
    late = Wanted(Bill.Kind.LATE_CHARGE, D(28), charge_kind=ChargeKind.FREIGHT)
    buyer.does(book_bill, receipt=receipt.id, bill=late, happened_at=EVENING)
    assert "Bills that came later Freight came later" in shown(north.get("/"))
    assert "Bills that came later" not in shown(mill.get("/"))
    assert path in north.get("/").content.decode()
    look = shown(north.get(path))
    assert "All pay more 28.00 USD" in look
    assert unfolded(north, path) == [28]
    assert "Mill Bench Oil to share 14.00 USD" in look
    waits = shown(mill.get(path))
    assert "None was shared yet." in waits
    assert "Share it" not in waits
    assert looked_at(north, path).queries <= MOST
    told = done(north, path, note="the carrier, 3 June")
    assert "the carrier, 3 June" in told
    assert "Bills that came later" not in shown(north.get("/"))
    assert "all together 28.00 USD" in told
    assert "Share it" not in told
    assert looked_at(north, path).queries <= MOST
    own = shown(mill.get(path))
    assert "You Oil to share 14.00 USD" in own
    assert "all together" not in own, "of two it would tell the other's part"
    assert "North Bench" not in own
    stood = shown(mill.get(f"/order-rounds/{round.id}"))
    assert "Charged 40.00 USD Later bills 14.00 USD Saved against alone 14.00 USD" in stood
    month = shown(mill.get("/settlement/statement"))
    assert "Later bill · Oil to share · North Bench" in month
    assert "the carrier, 3 June" in month
    table = north.get(f"{path}?as=csv").content.decode()
    assert "the carrier, 3 June" in table
    assert "Mill Bench" in table
    assert "Nothing was billed" in refused(north, path)


def test_a_bill_that_is_taken_back_waits_only_where_it_was_shared(
    buyer: Workshop, other: Workshop
) -> None:
    round, receipt = received(buyer, other, "The carrier thinks again")
    north, path = signed_in(buyer), f"/order-rounds/{round.id}/late-bills"
    done(north, f"/order-rounds/{round.id}/hand-out")
    late = Wanted(Bill.Kind.LATE_CHARGE, D(28), charge_kind=ChargeKind.FREIGHT)
    first, wrong = (
        buyer.does(book_bill, receipt=receipt.id, bill=late, happened_at=EVENING) for _ in range(2)
    )
    about = {"reason": "not ours", "happened_at": EVENING}
    buyer.does(undo, entry=wrong.entry_id, **about)
    assert path in north.get("/").content.decode()
    assert "all together 28.00 USD" in done(north, path, note="the carrier, 3 June")
    assert path not in north.get("/").content.decode()
    buyer.does(undo, entry=first.entry_id, **about)
    assert path in north.get("/").content.decode()
    assert "All get back 28.00 USD" in shown(north.get(path))
    done(north, path, note="it was not the carrier's")
    assert path not in north.get("/").content.decode()
    again = buyer.does(book_bill, receipt=receipt.id, bill=late, happened_at=EVENING)
    assert path in north.get("/").content.decode()
    buyer.does(undo, entry=again.entry_id, **about)
    assert path not in north.get("/").content.decode()


def test_whoever_closes_a_round_before_its_time_is_asked_once(
    buyer: Workshop, other: Workshop
) -> None:
    now = datetime.now(UTC)
    round = asked(buyer, name="A round of three weeks", closes_at=now + timedelta(21), now=now)
    path, run = f"/order-rounds/{round.id}", for_the_co_op(buyer)
    assert "they may pledge until" in refused(run, path, do="close")
    assert "Close it now" in shown(run.get(path))
    assert "Close it now" not in done(run, path, do="close", sure="on")
    assert sent(run, path, do="wave").status_code == 422, "nothing that a round does"


def test_a_round_that_could_not_be_worked_out_says_so(buyer: Workshop, other: Workshop) -> None:
    """As long as it is tried again, and when it was given up."""
    round = opened(buyer, name="Out of luck")
    buyer.does(close_round, round=round.id, now=MORNING)
    work, path, mill = owed(buyer, round), f"/order-rounds/{round.id}", signed_in(other)
    waits = mill.get(path)
    assert "takes a minute at most" in shown(waits)
    assert f'hx-get="{path}" hx-trigger="every' in waits.content.decode()
    assert '<noscript><meta http-equiv="refresh"' in waits.content.decode()
    Progress(round.id).counting("plans")()
    renewed = mill.get(path, headers={"HX-Request": "true"})
    assert "HX-Refresh" not in renewed
    assert 'id="renews"' in renewed.content.decode()
    for attempts, told in (
        (1, "it is tried again by itself, at"),
        (MOST_ATTEMPTS, "is not tried any more"),
    ):
        tried = replace(work, attempts=attempts)
        buyer.does(
            lambda actor, made=attempts: Outbox.objects.filter(id=work.id).update(attempts=made)
        )
        mark_failed(tried, "PlanNotFound: none")
        page = shown(mill.get(path))
        assert told in page
        assert "PlanNotFound" not in page
        assert "takes a minute at most" not in page
    close_and_reckon(work, EVENING)
    assert mill.get(path, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    assert "is not tried any more" not in shown(mill.get(path))


def test_who_would_pay_above_its_highest_price_is_named_before(
    buyer: Workshop, other: Workshop
) -> None:
    """Packs that came for 120.00 instead of 80.00 are 15.00 a kilogram."""
    round, oil = opened(buyer, name="Dearer than told"), offered(buyer)
    pledged(buyer, round, oil, "4 kg")
    pledged(other, round, oil, "4 kg", highest_price=D(14))
    close_and_reckon(owed(buyer, round), EVENING)
    (order,) = buyer.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = buyer.does(lambda actor: list(order.lines.all()))
    came = Delivered(str(oil.id), "S-1", parse_quantity("10 kg"), D(120), order_line=str(line.id))
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    buyer.does(receive, supplier=order.supplier_id, lines=[came], **about)
    north, mill, out = signed_in(buyer), signed_in(other), f"/order-rounds/{round.id}/hand-out"
    look = shown(north.get(out))
    assert "Mill Bench, Oil to share: pays more than the highest price that it named" in look
    assert "6.00 USD. Its goods cost more." in look
    asked = refused(north, out, note="as it came")
    assert "Mill Bench, Oil to share: 6.00 more than was split" in asked
    assert "Above your highest price" not in shown(mill.get("/"))
    done(north, out, note="as it came", sure="on")
    assert "Above your highest price Dearer than told" in shown(mill.get("/"))
    assert "Above your highest price" not in shown(north.get("/")), "its own part it has kept"
    (owes,) = re.findall(r'"(/movements/[^"]+)"', mill.get("/").content.decode())
    assert "Disputed" in done(mill, owes, do="dispute", reason="too dear for us")
    assert "Above your highest price" not in shown(mill.get("/"))
    assert "It is right after all" in shown(mill.get(owes))
    done(mill, owes, do="agree", reason="the season was bad")
    assert "Above your highest price" in shown(mill.get("/")), "as long as it is not paid"
    paid = {"direction": "paid", "maker": str(buyer.actor.maker), "amount": "60.00"}
    done(mill, "/settlement", **paid, note="for the round")
    assert "Above your highest price" not in shown(mill.get("/"))
    own = shown(mill.get(out))
    assert "you pay more than the highest price that you named" in own
    assert "/settlement/statement" in mill.get(out).content.decode()
    assert looked_at(mill, out).queries <= MOST
