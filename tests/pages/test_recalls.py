"""The record of a recall on pages: opened from its lot, told on, heard, brought back, closed."""

import csv
import re
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from typing import Any

import pytest
from django.test import Client

from ledger import recall_notices, recall_records, recall_snapshots, recall_tallies
from ledger.consigning import consign
from ledger.count_closing import Explained, close_sheet
from ledger.counting import Chosen, Read, open_sheet, read_lots
from ledger.issuing import Taken, sell
from ledger.models import CountCause, Membership
from ledger.quantities import parse_quantity
from ledger.recall_records import Progress
from ledger.recall_tallies import Tally
from ledger.recalling import RecallList
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in
from tests.pages.figures import Told, opened, workings_of

TODAY = str(datetime.now(UTC).date())


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def other(shop: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=shop.coop)


def sold_all_over(shop: Workshop, other: Workshop) -> Any:
    """A drum of which two buyers and a shop have some, and another maker."""
    lot = shop.receive(shop.material("Shea butter"), "5 kg", "50.00")
    about = {"happened_at": MORNING}
    for buyer, much in (("stall 4", "300 g"), ("Quay & Co", "200 g")):
        shop.does(sell, lines=[Taken(lot.id, parse_quantity(much))], customer=buyer, **about)
    there = [Taken(lot.id, parse_quantity("100 g"))]
    shop.does(consign, shop="corner shop", lines=there, **about)
    to = {"maker": other.actor.maker, "quantity": parse_quantity("1 kg")}
    offer = shop.does(offer_transfer, lot=lot.id, **to, **about)
    other.does(accept_transfer, transfer=offer.id, release_basis="seal whole", **about)
    return lot


def unfolded(client: Client, path: str) -> list[Told]:
    """The workings of a page, all of which add up."""
    told = workings_of(client.get(path).content.decode())
    assert all(one.adds_up for one in told if one.parts)
    return told


def test_what_was_sold_opens_by_its_buyers(shop: Workshop) -> None:
    """Of 500 g that two had, one has used up 50 g."""
    lot = shop.receive(shop.material("Kokum butter"), "5 kg", "50.00")
    about = {"happened_at": MORNING}
    for buyer, much in (("stall 4", "300 g"), ("Quay & Co", "200 g")):
        shop.does(sell, lines=[Taken(lot.id, parse_quantity(much))], customer=buyer, **about)
    recall = shop.does(recall_records.open_recall, lot=lot.id, reason="a smell", **about)
    used = {"lot": lot.id, "outcome": "used_up", "quantity": parse_quantity("50 g")}
    days = {"on": MORNING.date(), "today": MORNING.date()}
    told = {"customer": "stall 4", "how": "phone", **days, **used}
    shop.does(recall_records.contact_buyer, recall=recall.id, **told, answered=True)
    page = unfolded(signed_in(shop), f"/recalls/{recall.id}")
    by_name = {one.name: one for one in page}
    sold = by_name["Sold"]
    assert {one.name: one.exact for one in sold.parts} == {"Quay & Co": D(200), "stall 4": D(300)}
    assert [one.exact for one in by_name["Used up"].parts] == [50]
    assert [one.exact for one in by_name["Not heard of"].parts] == [500, -50]
    assert by_name["Accounted for"].exact == 5000


def test_what_a_count_found_gone_is_not_accounted_for(shop: Workshop) -> None:
    """Of 1 kg, 500 g are made into 480; of the rest a count finds 400, and nobody knows why."""
    wax = shop.material("Cera Alba")
    lot = shop.receive(wax, "1 kg", "20.00")
    batch = shop.plan(shop.formula("Wax cake", [(wax, "100")]), "500 g")
    shop.weigh_all(batch)
    shop.finish(batch, "480 g")
    sheet = shop.does(open_sheet, chosen=Chosen(lots=[lot.id]), now=MORNING)
    read = [Read(lot.id, quantity=parse_quantity("400 g"))]
    for _ in range(2):
        shop.does(read_lots, sheet=sheet.id, readings=read, happened_at=MORNING, now=MORNING)
    why = Explained(lot.id, "/causes/0", CountCause.Cause.SHRINK, "nothing else was found")
    shop.does(close_sheet, sheet=sheet.id, causes=[why], now=MORNING)
    page = shown(signed_in(shop).get(f"/lots/{lot.id}/recall-list")).replace("\xa0", " ")
    assert "Accounted for 900 g 90 %" in page
    assert "Not accounted for 100 g" in page
    assert "100 g nobody knows where" in page
    _came, found, percent, missing = unfolded(signed_in(shop), f"/lots/{lot.id}/recall-list")
    assert [one.exact for one in found.parts] == [400, 500]
    assert percent.exact == 90
    assert [one.exact for one in missing.parts] == [1000, -900]
    assert "Lost in making it: 0 g as expected · 20 g beyond that" in page
    traced = signed_in(shop).get(f"/lots/{lot.id}/trace")
    page = shown(traced).replace("\xa0", " ")
    assert "Not accounted for shrinkage: nobody knows where 100 g" in page
    (gone,) = re.findall(r'href="([^"]+)"[^>]*><span class="tag warn">', traced.content.decode())
    told = opened(signed_in(shop), unescape(gone))
    assert (told.name, [one.exact for one in told.parts]) == ("Shrinkage", [D(100)])
    assert "Shrinkage nobody knows where 100 g" in page, "the picture shows it as well"
    address = f"/lots/{lot.id}/trace?as=csv&table=flows"
    file = signed_in(shop).get(address).content.decode("utf-8-sig")
    flows = [tuple(row) for row in csv.reader(file.splitlines()[1:])]
    assert {row[0] for row in flows} == {lot.code}
    assert {row[4:] for row in flows} == {("500", "g"), ("100", "g")}
    assert "shrinkage" in {row[3] for row in flows}


def test_a_recall_from_its_lot_to_its_closing(shop: Workshop, other: Workshop) -> None:
    lot = sold_all_over(shop, other)
    client, mill = signed_in(shop), signed_in(other)
    path = f"/lots/{lot.id}/recall-list"
    assert "Call it back" in shown(client.get(path))
    assert "Call it back" not in shown(in_role(shop, Membership.Role.READ_ONLY).get(path))
    assert "Fill this in" in refused(client, path, reason="")
    begun = {"happened_at": "2025-05-07T08:00", "depth": "retail"}
    one = sent(client, path, reason="mould in the drum", **begun)["Location"]
    page = shown(client.get(one)).replace("\xa0", " ")
    assert "Accounted for 5 kg 100 %" in page
    assert "Not accounted for 0 g" in page
    assert "goes out to shops" in page
    assert "Mill Bench told" in page
    assert "no answer yet" in page
    assert "on hold" in shown(client.get(f"/lots/{lot.id}"))
    # What runs already is shown, and no second one is offered.
    assert "It is being called back" in shown(client.get(path))
    assert "being recalled already" in shown(sent(client, path, reason="again"))

    the_other_maker_answers(mill, client, one)
    buyers_are_told(client, one)

    out = f"/lots/{lot.id}/out"
    (sale,) = re.findall(r'value="([^"]+)">[^<]*stall 4', client.get(out).content.decode())
    done(client, out, do="back", sale=sale, quantity="100 g", reason="recalled")
    page = shown(client.get(one)).replace("\xa0", " ")
    assert "Came back 100 g 20 %" in page
    assert "Not heard of 350 g" in page
    reader = in_role(shop, Membership.Role.READ_ONLY)
    assert "They were told" not in shown(reader.get(f"{one}/buyers?who=stall+4"))
    for form in (path, one, f"{one}/buyers?who=stall+4", "/at-shops"):
        assert sent(reader, form, reason="x").status_code == 403
    sheet = shown(client.get(f"{one}/sheet"))
    assert "Recall of" in sheet
    assert "50 g of" in sheet
    closed = done(client, one, reason="all have answered")
    assert "all have answered" in closed
    assert "Close it" not in closed
    who = f"{one}/buyers?who=stall+4"
    assert "nothing is added to it" in shown(client.get(who))
    assert "closed" in shown(client.get("/recalls"))
    assert "mould in the drum" in client.get("/recalls?as=csv").content.decode()


def the_other_maker_answers(mill: Any, client: Any, recall: str) -> None:
    """First as its records say; then with what it knows better, for a reason."""
    listed = mill.get("/recalls").content.decode()
    assert "waits for your answer" in listed
    (notice,) = set(re.findall(r'href="(/recall-notices/[^"]+)"', listed))
    assert "mould in the drum" in shown(mill.get(notice))
    page = done(mill, notice, hold="on").replace("\xa0", " ")
    assert "of that, on hold 1 kg" in page
    assert "Say why" in refused(mill, notice, **{"elsewhere-grams": "20"})
    told = {"in_reach-grams": "980", "held-grams": "980", "elsewhere-grams": "20"}
    page = done(mill, notice, **told, reason="a tester")
    assert "on hold, samples, testers, kept or lost. a tester" in page
    assert "waits for your answer" not in shown(mill.get("/recalls"))
    kept = [
        one
        for one in unfolded(client, recall)
        if one.name == "All makers: samples, testers, kept or lost"
    ]
    assert [[(part.name, part.exact) for part in one.parts] for one in kept] == [
        [("You", D(0)), ("Mill Bench", D(20))]
    ]
    asked = shown(client.get(recall)).replace("\xa0", " ")
    assert "a tester" in asked
    assert "answered" in asked
    # It is theirs to answer.
    assert sent(client, notice, hold="on").status_code == 422
    assert "on hold" in shown(client.get(notice))
    assert mill.get(recall).status_code == 404


def buyers_are_told(client: Any, recall: str) -> None:
    """One who destroyed some of it, one who was only told, and nobody who had none."""
    buyers = shown(client.get(f"{recall}/buyers")).replace("\xa0", " ")
    assert "on consignment: 100 g" in buyers
    assert buyers.count("not told yet") == 3
    assert client.get(f"{recall}/buyers?who=nobody").status_code == 404
    one, about = f"{recall}/buyers?who=Quay+%26+Co", {"how": "phone", "on": TODAY}
    lot = re.findall(r'<option value="([^"]+)">NB', client.get(one).content.decode())[0]
    outcome = {"outcome": "destroyed", "lot": lot, "quantity": "50 g"}
    assert "has answered" in refused(client, one, **about, **outcome)
    much = {**outcome, "answered": "on", "quantity": "201 g"}
    assert "only 200\N{NO-BREAK SPACE}g" in refused(client, one, **about, **much)
    page = done(client, one, **about, **outcome, answered="on", note="in the bin").replace(
        "\xa0", " "
    )
    assert "destroyed 50 g" in page
    assert "in the bin" in page
    told = done(client, f"{recall}/buyers?who=stall+4", **about)
    assert "on the phone" in told
    assert "future" in refused(client, one, how="phone", on="2199-01-01")


def test_what_is_not_accounted_for_is_asked_about_once(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The books always close; a recall that would not is never closed by a slip."""
    lot = shop.receive(shop.material("Kelp"), "1 kg", "5.00")
    client, so_far = signed_in(shop), recall_records.progress_of
    one = sent(client, f"/lots/{lot.id}/recall-list", reason="wrong label")["Location"]

    def with_a_gap(*of: Any) -> Progress:
        found = so_far(*of)
        return replace(found, tally=replace(found.tally, accounted=D(960)))

    monkeypatch.setattr(recall_records, "progress_of", with_a_gap)
    page = shown(client.get(one)).replace("\xa0", " ")
    assert "Accounted for 960 g 96 %" in page
    assert "Not accounted for 40 g" in page
    assert "not accounted for. Close it all the same?" in refused(client, one, reason="done")
    assert "Closed" in done(client, one, reason="spilt before it was weighed", sure="on")


def test_what_was_kept_before_says_by_which_rule(
    shop: Workshop, other: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A list and an answer from before: figures of then, and they say so."""

    def list_of_then(found: RecallList) -> dict[str, Any]:
        facts, shrunk = recall_snapshots.as_facts(found), ["loss", "shrink", "10", "10"]
        for lot in facts["lots"]:
            lot["places"] = [*(place[:4] for place in lot["places"]), shrunk]
        return facts

    def tally_of_then(tally: Tally) -> dict[str, Any]:
        facts = recall_tallies.as_facts(tally)
        del facts["shrink_accounted"]
        return facts

    lot = sold_all_over(shop, other)
    client, mill = signed_in(shop), signed_in(other)
    with monkeypatch.context() as then:
        then.setattr(recall_records, "as_facts", list_of_then)
        then.setattr(recall_notices, "as_facts", tally_of_then)
        one = sent(client, f"/lots/{lot.id}/recall-list", reason="mould")["Location"]
        # The newest is the first.
        listed = mill.get("/recalls").content.decode()
        notice = re.findall(r'href="(/recall-notices/[^"]+)"', listed)[0]
        done(mill, notice, hold="on")
    was = "a count had found gone without a cause was accounted for"
    assert f"Then, what {was}" in shown(client.get(f"{one}/sheet"))
    assert f"then, what {was}" in shown(mill.get(notice))
    table = client.get(f"{one}?as=csv&table=makers").content.decode().splitlines()
    assert table[0].rstrip().endswith("Shrink was accounted for")
    assert table[1].rstrip().endswith("yes")
    # What is answered anew is told by the rule of today.
    done(mill, notice, hold="on")
    assert was not in shown(mill.get(notice))
