"""Between makers: lent and replaced, sold to one alone and given back, a drum with its freight."""

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from typing import Any

import pytest
from django.test import Client

from ledger.access import acting_as
from ledger.models import Holding
from ledger.opened_lots import say_opened
from tests.factories import TODAY, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in
from tests.pages.figures import workings_of


@pytest.fixture(scope="module")
def lender(database: Any, redis_server: Any) -> Workshop:
    return open_workshop("North Bench")


@pytest.fixture(scope="module")
def borrower(lender: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=lender.coop)


def led_to(client: Client, path: str, **typed: str) -> str:
    """A form that was done; where it leads."""
    return str(sent(client, path, **typed)["Location"])


def test_what_is_lent_is_replaced_by_another_lot(lender: Workshop, borrower: Workshop) -> None:
    oil = lender.material("Argan oil")
    lot = lender.receive(oil, "5 kg", "200.00")
    north, mill = signed_in(lender), signed_in(borrower)
    assert "Offer it to one maker" in shown(north.get(f"/lots/{lot.id}"))
    offer = f"/lots/{lot.id}/offer"
    assert "Ask an accountant" in shown(north.get(offer))
    lent = {"maker": str(borrower.actor.maker), "quantity": "2 kg", "way": "kind"}
    told = refused(north, offer, **{**lent, "quantity": "6 kg"})
    assert f"Only 5 kg of the lot {lot.code} is free to give." in told.replace("\xa0", " ")
    assert "decimals" in refused(north, offer, **lent, price="80.001")
    move = led_to(north, offer, **lent, note="until Friday")
    assert "What you offered to one maker" in shown(north.get("/co-op"))
    # Who takes it is told where it says yes; who gave it was told before.
    assert "Ask an accountant" in shown(mill.get(move))
    assert "Ask an accountant" not in shown(north.get(move))
    told = shown(mill.get(move))
    assert "until Friday" in told
    assert "as much of the material is owed back" in told
    borrowed = done(mill, move, do="accept", release_basis="seal whole")
    assert "Replace it" in borrowed
    assert "Lent: 2 kg of the material is owed back." in shown(north.get(move))
    assert "you borrowed it from North Bench" in shown(mill.get("/co-op"))
    assert "you lent it to Mill Bench" in shown(north.get("/co-op"))
    own = borrower.receive(oil, "3 kg", "150.00")
    assert "still owed" in refused(mill, move, do="back", lot=str(own.id), quantity="3 kg")
    back = led_to(mill, move, do="back", lot=str(own.id))
    # Whoever gets it back is not told that it is lent once more.
    assert "replaces what you lent" in shown(north.get("/"))
    replaced = "It replaces what was lent: nothing is owed for it."
    assert replaced in shown(north.get(back))
    told = done(north, back, do="accept")
    assert "What it gives back" in told
    assert replaced in told
    assert "you lent" not in shown(north.get("/co-op"))
    assert "Still owed: 2 kg." in borrowed
    assert "Still owed" not in shown(mill.get(move))
    for each in (north, mill):
        assert "Lent, and all of it was replaced." in shown(each.get(move))


def test_what_was_sold_goes_back_as_it_came(lender: Workshop, borrower: Workshop) -> None:
    lot = lender.receive(lender.material("Plum oil"), "5 kg", "200.00")
    north, mill = signed_in(lender), signed_in(borrower)
    sold = {"maker": str(borrower.actor.maker), "quantity": "1 kg", "way": "money", "price": "50"}
    move = led_to(north, f"/lots/{lot.id}/offer", **sold)
    came = done(mill, move, do="accept")
    assert "You bought it and owe none of it back. If its giver agrees, up to 1 kg may" in came
    assert "owed" not in came
    assert "With which lot" not in came
    back = led_to(mill, move, do="back", quantity="400 g", note="too much")
    assert "For 20.00 USD" in done(north, back, do="accept")
    at_cost = led_to(north, f"/lots/{lot.id}/offer", **{**sold, "price": ""})
    told = shown(mill.get(at_cost))
    # 4 kg are left of 200.00 for 5, and 400 g came back for 20.00.
    assert "At what it cost North Bench: 40.91 USD at present. What counts is" in told


def test_a_claim_waits_in_quarantine_and_ends(lender: Workshop, borrower: Workshop) -> None:
    lot = lender.receive(lender.material("Rose water"), "5 kg", "50.00")
    north, mill = signed_in(lender), signed_in(borrower)
    terms = {"quantity": "2 kg", "terms": "cost", "accepts_itself": "on"}
    share = led_to(north, f"/lots/{lot.id}/share", **terms, closes_at="2199-01-01T09:00")
    assert "the average of all that it has" in shown(mill.get(share))
    wanted = {"do": "claim", "quantity": "1 kg", "quarantine": "on"}
    assert refused(mill, share, **wanted, expires_at="2020-01-01T09:00")
    assert "You owe 10.00 USD" in done(mill, share, **wanted, expires_at="2199-01-01T09:00")
    assert "quarantine" in shown(mill.get(f"/lots/{lot.id}"))


def test_who_can_give_less_than_was_asked_for_is_told_so(
    lender: Workshop, borrower: Workshop
) -> None:
    lot = lender.receive(lender.material("Lime oil"), "1.2345678 kg", "50.00")
    north, mill = signed_in(lender), signed_in(borrower)
    share = led_to(north, f"/lots/{lot.id}/share", terms="cost")
    claims = [led_to(mill, share, do="claim", quantity=much) for much in ("1 kg", "0.8 kg")]
    done(north, claims[0], do="accept")
    told = refused(north, claims[1], do="accept").replace("\xa0", " ")
    assert f"Only 234.56 g of the lot {lot.code} is left to give; less can be asked" in told


def test_a_drum_whose_freight_another_paid(lender: Workshop, borrower: Workshop) -> None:
    """98 kg of 100 for 490.00: 5.00 a kilogram, heel and all; a heel of 2 kg stays behind."""
    drum = lender.receive(lender.material("Coconut oil"), "100 kg", "490.00")
    north = signed_in(lender)
    draws = {"draws": "2", "draws-0-net": "60 kg", "draws-1-net": "38 kg", "emptied": "on"}
    mill = str(borrower.actor.maker)
    paid = {"paid": "2", "paid-0-maker": mill, "paid-0-amount": "40", "paid-0-note": "drum freight"}
    path = f"/lots/{drum.id}/decanting"
    assert "Ask an accountant" in shown(north.get(path))
    assert "how a deposit is booked and taxed" in shown(north.get("/deposits"))
    assert "Fill this in" in refused(north, path, **draws, **{**paid, "paid-0-note": ""})
    assert "decimals" in refused(north, path, **draws, **{**paid, "paid-0-amount": "40.001"})
    drawn = done(north, path, **draws, **paid)
    assert "Heel 2 kg" in drawn
    assert "300.00 USD" in drawn
    told = shown(north.get("/settlement/statement"))
    assert re.search(r"drum freight .*40\.00 USD", told)
    with acting_as(lender.actor):
        assert not Holding.objects.filter(lot=drum, kind="store", quantity__gt=0).exists()
    # What went into each is what was drawn, and never all that left the drum.
    trace = f"/lots/{drum.id}/trace"
    assert [f"of: {drum.code}: {much} kg" in shown(north.get(trace)) for much in (60, 38, 98)] == [
        True,
        True,
        False,
    ]
    file = north.get(f"{trace}?as=csv&table=flows").content.decode()
    assert sorted(re.findall(r",(\d+),g\r", file), key=int) == ["2000", "38000", "60000"]
    # Nothing typed of what others paid is nothing paid.
    other = lender.receive(lender.material("Palm oil"), "10 kg", "50.00")
    blank = {"paid": "2", "paid-0-maker": mill, "paid-1-maker": mill}
    alone = {"draws": "1", "draws-0-net": "10 kg", "emptied": "on"}
    few, path = {**alone, "draws-0-net": "8 kg"}, f"/lots/{other.id}/decanting"
    assert "2 kg would be written off" in refused(north, path, **few, **blank).replace("\xa0", " ")
    assert "Heel 0 g" in done(north, path, **alone, **blank)


def test_a_drum_may_be_given_up_half_full(lender: Workshop) -> None:
    drum = lender.receive(lender.material("Castor oil"), "10 kg", "50.00")
    north, path = signed_in(lender), f"/lots/{drum.id}/decanting"
    half = {"draws": "1", "draws-0-net": "5 kg", "emptied": "on", "sure": "on"}
    assert "Heel 5 kg" in done(north, path, **half).replace("\xa0", " ")


def test_the_cost_of_what_was_drawn_adds_up(lender: Workshop) -> None:
    """2 kg of 3 that cost 10.00 are 6.666667: 3.34 and 3.33, and 0.003333 less than the coins."""
    drum = lender.receive(lender.material("Apricot oil"), "3 kg", "10.00")
    draws = {"draws": "2", "draws-0-net": "1 kg", "draws-1-net": "1 kg"}
    north = signed_in(lender)
    page = north.get(led_to(north, f"/lots/{drum.id}/decanting", **draws)).content.decode()
    (cost,) = (one for one in workings_of(page) if one.name == "Cost of it all")
    assert [one.exact for one in cost.parts] == [D("3.34"), D("3.33"), D("-0.003333")]
    assert cost.adds_up


def test_an_offer_and_a_share_tell_that_it_is_open(lender: Workshop, borrower: Workshop) -> None:
    lot = lender.receive(lender.material("Rosehip oil", use_within_days=180), "5 kg", "200.00")
    north, mill = signed_in(lender), signed_in(borrower)
    lender.does(say_opened, lot=lot.id, opened_on=TODAY)
    until = f"{TODAY + timedelta(days=180):%-d %b %Y}"
    typed = {"maker": str(borrower.actor.maker), "quantity": "1 kg", "way": "kind"}
    move = led_to(north, f"/lots/{lot.id}/offer", **typed)
    told = shown(mill.get(move)).replace("\xa0", " ")
    assert f"opened on {TODAY:%-d %b %Y}" in told
    assert f"until {until}" in told
    share = led_to(north, f"/lots/{lot.id}/share", quantity="1 kg", terms="cost")
    told = " ".join(shown(mill.get(share)).replace("\xa0", " ").split())
    assert f"Since it is open, use by {until}" in told
    assert f"until {until}" in shown(mill.get("/co-op")).replace("\xa0", " ")


def test_whoever_is_offered_what_is_past_its_day_is_told_so(
    lender: Workshop, borrower: Workshop
) -> None:
    north, mill = signed_in(lender), signed_in(borrower)
    for days, told in ((-3, True), (90, False)):
        day = datetime.now(UTC).date() + timedelta(days=days)
        lot = lender.receive(lender.material(f"Aloe {days}"), "5 kg", "50.00", expires_on=day)
        typed = {"maker": str(borrower.actor.maker), "quantity": "1 kg", "way": "money"}
        for path in (
            led_to(north, f"/lots/{lot.id}/offer", **typed),
            led_to(north, f"/lots/{lot.id}/share", quantity="1 kg", terms="cost"),
        ):
            assert ("past its day" in shown(mill.get(path))) is told
