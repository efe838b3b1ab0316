"""What is written down on "Who owes whom": payments and closed periods, and what is a slip."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from ledger.issuing import Taken, issue
from ledger.quantities import parse_quantity
from ledger.settling import dispute, record_payment
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, D, Workshop, on, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in, typed_in
from tests.pages.test_rounds import for_the_co_op

PAGE = "/settlement"
MONTHS = ("2025-05-31", "2025-06-30")


@pytest.fixture(scope="module")
def other(shop: Workshop) -> Workshop:
    """It paid 40.00 for the other, so that the other owes it."""
    other = open_workshop("Mill Bench", coop=shop.coop)
    about = {"maker": shop.actor.maker, "amount": D(40), "paid": True, "note": "cash"}
    other.does(record_payment, happened_at=datetime.now(UTC), **about)
    return other


def payment(other: Workshop, amount: str, **facts: str) -> dict[str, Any]:
    return {
        "direction": "paid",
        "maker": str(other.actor.maker),
        "amount": amount,
        "note": "bank",
        **facts,
    }


@pytest.mark.parametrize("amount", ["0", "0.00"])
def test_a_payment_of_nothing_is_refused(client: Client, other: Workshop, amount: str) -> None:
    assert "more than nothing" in refused(client, PAGE, **payment(other, amount))


def test_which_way_it_went_is_never_guessed(client: Client, other: Workshop) -> None:
    for path in (PAGE, f"{PAGE}?maker={other.actor.maker}"):
        assert "direction" not in typed_in(client, path, "amount")
    asked = refused(client, PAGE, do="pay", amount="1", note="cash")
    assert "Choose" in asked


def test_more_than_is_owed_is_asked_about_once(client: Client, other: Workshop) -> None:
    asked = refused(client, PAGE, **payment(other, "40.01"))
    assert "You owe them less: 40.00\N{NO-BREAK SPACE}USD. Is it so?" in asked
    wrong_way = refused(client, PAGE, **payment(other, "40.00", direction="received"))
    assert "They owe you less: 0.00\N{NO-BREAK SPACE}USD. Is it so?" in wrong_way
    assert "40.00 USD" in done(client, PAGE, **payment(other, "40.00"))
    assert "even" in shown(client.get(PAGE))
    assert "1.00 USD" in done(client, PAGE, **payment(other, "1", sure="on"))


def test_a_payment_of_long_ago_is_asked_about_once(
    shop: Workshop, client: Client, other: Workshop
) -> None:
    about = {"maker": shop.actor.maker, "amount": D(2), "paid": True, "note": "cash"}
    other.does(record_payment, happened_at=datetime.now(UTC), **about)
    old = payment(other, "1", happened_at="2001-05-06T10:00")
    assert "6 May 2001 is more than a year ago. Is it so?" in refused(client, PAGE, **old)
    assert "6 May 2001" in done(client, PAGE, **old, sure="on")


@pytest.mark.parametrize("month", ["2026-13", "abc", "1800-01"])
def test_a_month_that_is_none_is_not_there(client: Client, month: str) -> None:
    assert client.get(f"{PAGE}/statement?month={month}").status_code == 404


def test_books_are_closed_month_by_month_and_asked_about_once() -> None:
    keeper = open_workshop("Closing Bench")
    client = signed_in(keeper)
    close = {"do": "close", "note": ""}
    first, second = MONTHS
    assert "Nothing is booked yet" in refused(client, PAGE, closed_on=first, **close)
    lot = keeper.receive(keeper.material("Oil"), "1 kg", "9.00", at=on("2025-05-06"))
    asked = refused(client, PAGE, closed_on="2025-04-30", **close)
    assert "Nothing was booked by then: your books begin on 6 May 2025." in asked
    asked = refused(client, PAGE, closed_on=first, **close)
    assert "anything of 31 May 2025 or earlier" in asked
    assert "cannot be undone" in asked
    assert "closed up to 31 May 2025" in done(client, PAGE, closed_on=first, sure="on", **close)
    assert typed_in(client, PAGE, "closed_on")["closed_on"] == second
    asked = refused(client, PAGE, closed_on=first, sure="on", **close)
    assert "closed up to 31 May 2025 already" in asked
    given = [Taken(lot=lot.id, quantity=parse_quantity("1 g"))]
    facts = {"purpose": "gift", "reason": "for a fair", "happened_at": MORNING}
    with pytest.raises(Exception, match="closed up to 2025-05-31"):
        keeper.does(issue, lines=given, **facts)
    told = refused(
        client,
        f"/lots/{lot.id}/out",
        **{"way": "gift", "quantity": "1 g", "reason": "a fair", "happened_at": "2025-05-07T10:00"},
    )
    assert "closed up to 31 May 2025;" in told
    yesterday = datetime.now(UTC).date() - timedelta(days=1)
    done(client, PAGE, closed_on=str(yesterday), sure="on", **close)
    # No month that is not closed is over yet.
    assert typed_in(client, PAGE, "closed_on")["closed_on"] == ""


def test_what_is_owed_names_its_goods_and_opens_for_the_coordinator() -> None:
    """One has given goods for 12.50, and been paid 2.50 of it."""
    giver = open_workshop("Goods Bench")
    taker = open_workshop("Far Bench", coop=giver.coop)
    lot = giver.receive(giver.material("Jojoba oil"), "1 kg", "10.00")
    about = {"maker": taker.actor.maker, "quantity": parse_quantity("1 kg"), "price": D("12.50")}
    offer = giver.does(offer_transfer, lot=lot.id, happened_at=MORNING, **about)
    taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    paid = {"maker": giver.actor.maker, "amount": D("2.50"), "paid": True, "note": "cash"}
    taker.does(record_payment, happened_at=MORNING, **paid)
    for shop in (giver, taker):
        month = shown(signed_in(shop).get(f"{PAGE}/statement?month=2025-05"))
        assert "Goods · Jojoba oil · " in month
        file = signed_in(shop).get(f"{PAGE}/statement?month=2025-05&as=csv").content.decode()
        assert ",Jojoba oil," in file
        working = shown(signed_in(shop).get(f"{PAGE}/worked-out?month=2025-05"))
        assert "· Jojoba oil ·" in working
    run = for_the_co_op(giver)
    page = run.get(PAGE).content.decode()
    (to,) = re.findall(rf'href="({PAGE}/worked-out\?maker={giver.actor.maker})"', page)
    assert "Far Bench 10.00 USD" in shown(run.get(to))
    assert run.get(f"{PAGE}/worked-out?maker={lot.id}").status_code == 404
    assert to in run.get(f"{PAGE}/worked-out").content.decode(), "of all of them, each opens"


def test_what_was_cleared_and_paid_is_not_asked_for_once_more() -> None:
    """One owes another 5.00, and that a third 8.00: the first may as well pay the third."""
    first = open_workshop("Reed Bench")
    second, third = (open_workshop(name, coop=first.coop) for name in ("Sand Bench", "Tide Bench"))
    run = for_the_co_op(first)

    def pays(payer: Workshop, payee: Workshop, amount: str) -> None:
        about = {"maker": payee.actor.maker, "amount": D(amount), "paid": True, "note": "cash"}
        payer.does(record_payment, happened_at=datetime.now(UTC), **about)

    pays(second, first, "5")
    pays(third, second, "8")
    done(run, PAGE, do="clear")
    pays(first, third, "5")
    own = shown(signed_in(first).get(PAGE))
    assert "Tide Bench even" in own
    assert "you were to pay Tide Bench 5.00 USD" in own
    assert "Reed Bench was to pay you 5.00 USD" in shown(signed_in(third).get(PAGE))


def test_what_is_disputed_may_be_paid_or_left(shop: Workshop) -> None:
    """Of 40.00 that is owed, 3.00 the other way is disputed: 37.00 and 40.00 are no slip."""
    payer, payee = (open_workshop(name, coop=shop.coop) for name in ("Wharf Bench", "Quay Bench"))
    now = datetime.now(UTC)
    to, back = ({"maker": one.actor.maker, "paid": True} for one in (payer, payee))
    payee.does(record_payment, amount=D(40), happened_at=now, note="cash", **to)
    wrong = payer.does(record_payment, amount=D(3), happened_at=now, note="cash", **back)
    payee.does(dispute, movement=wrong.id, reason="never came")
    client = signed_in(payer)
    only_they = "Only they can say that it is right after all."
    assert only_they in shown(client.get(f"/movements/{wrong.id}"))
    assert only_they not in shown(signed_in(payee).get(f"/movements/{wrong.id}"))
    owed = "You owe them less: 40.00\N{NO-BREAK SPACE}USD."
    assert owed in refused(client, PAGE, **payment(payee, "40.01"))
    assert "40.00 USD" in done(client, PAGE, **payment(payee, "40.00"))


def test_whoever_has_nobody_to_leave_a_deposit_with_is_told_where_to_write_one_down() -> None:
    page = signed_in(open_workshop("Lonely Bench")).get("/deposits").content.decode()
    assert "nobody is written down yet" in page
    assert 'name="supplier"' not in page


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("/deposits", {"do": "pay", "amount": "0"}),
        ("/materials/new", {"name": "Odd", "measured_by": "mass", "max_percent": "0"}),
    ],
)
def test_nothing_is_no_figure_of_these(shop: Workshop, path: str, typed: dict[str, str]) -> None:
    client = signed_in(shop)
    if path == "/deposits":
        shop.receive(shop.material("Drum oil"), "1 kg", "9.00")
        options = re.findall(r'<option value="([0-9a-f-]{36})"', client.get(path).content.decode())
        typed = {**typed, "supplier": options[0]}
    facts = {"declared_as": "ingredient", "sure": "on"}
    assert re.search("more than nothing|above 0", refused(client, path, **typed, **facts))
