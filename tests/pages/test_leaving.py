"""What leaves a lot and comes back on its page, and mistakes that are taken back."""

import re
from typing import Any
from uuid import UUID

import pytest

from api.pages.entries import UndoForm
from api.pages.forms import Rows
from api.pages.in_the_way import with_entries_named
from api.pages.reader import Reader
from ledger.access import acting_as
from ledger.errors import Sentence, UsedSince
from ledger.issuing import Taken, issue
from ledger.models import Membership
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_sold_brought_back_and_given_away(shop: Workshop) -> None:
    soap = shop.material("Soap bar", measured_by="count")
    lot = shop.receive(soap, "20 each", "40.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/out"
    assert path in client.get(f"/lots/{lot.id}").content.decode()
    assert "brought some back" not in shown(client.get(path))
    assert "In store 20 pieces" in shown(client.get(path)).replace("\xa0", " ")
    assert "needs its unit" not in refused(client, path, way="sold", quantity="21.5", reason="A")
    assert refused(client, path, way="sold", quantity="30", reason="A shop")
    assert refused(client, path, way="sold", quantity="2 kg", reason="A shop")
    told = done(client, path, way="sold", quantity="12", reason="A shop")
    assert re.search(r"sold\W.{0,20}A shop.{0,12}-12 pieces", told), told
    shown_then = client.get(path).content.decode()
    (sale,) = re.findall(r'<option value="([0-9a-f-]{36})"[^>]*>[^<]*, A shop', shown_then)
    assert refused(client, path, do="back", sale=sale, quantity="13", reason="cracked")
    assert "came back from a buyer" in done(
        client, path, do="back", sale=sale, quantity="2", reason="cracked"
    )
    for way, what in (("tester", "given out"), ("spill", "given out"), ("sent back", "sent back")):
        assert what in done(client, path, way=way, quantity="1", reason="so it is")
    assert shop.held(lot) == (D(7), D(14))
    assert shop.disagreements() == []


def test_all_that_is_there_leaves_no_crumb(shop: Workshop) -> None:
    """A gallon of 3785.411784 mL at 1.26 g/mL is shown as 4.77 kg, and is 0.38 g less."""
    lot = shop.receive(shop.material("Syrup", density="1.26 g/mL"), "1 gal", "9.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/out"
    typed = {"way": "write-off", "reason": "too old"}
    assert "4.77 kg" in shown(client.get(path)).replace("\xa0", " ")
    assert "is left" in refused(client, path, quantity="4.77 kg", **typed)
    for said in ({}, {"whole": "on", "quantity": "1 kg"}):
        assert "Write how much, or tick" in refused(client, path, **said, **typed)
    assert "-4.77 kg" in done(client, path, whole="on", **typed).replace("\xa0", " ")
    assert shop.held(lot) == (D(0), D(0))
    assert refused(client, path, whole="on", **typed)


def test_what_cannot_leave_says_what_to_do(shop: Workshop) -> None:
    oil = shop.material("Oat oil")
    lot = shop.receive(oil, "1 kg", "9.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/out"
    typed = {"way": "sold", "quantity": "100 g", "reason": "A shop"}
    early = refused(client, path, happened_at="2025-01-02T09:00", **typed)
    assert f"On 2 Jan 2025 the lot {lot.code} would have been overdrawn" in early
    batch = shop.plan(shop.formula("Oat balm", [(oil, "100")]), "1 kg").batch
    kept = refused(client, path, **typed)
    assert f"reserved for {batch.code}. Take another lot, choose other lots for that" in kept


def test_what_came_back_is_looked_at_before_it_is_sold_again(shop: Workshop) -> None:
    """Whoever may decide can put it on hold with the return; who keeps the books is not asked."""
    lot = shop.receive(shop.material("Shaving soap", measured_by="count"), "20 each", "40.00")
    client, path = signed_in(shop), f"/lots/{lot.id}/out"
    done(client, path, way="sold", quantity="12", reason="A shop")
    page = client.get(path).content.decode()
    (sale,) = re.findall(r'<option value="([0-9a-f-]{36})"[^>]*>[^<]*, A shop', page)
    back = {"do": "back", "sale": sale, "quantity": "2", "reason": "dented"}
    assert "Held: dented" not in done(client, path, **back)
    assert "Held: dented" in done(client, path, **back, hold="on")
    assert refused(client, path, way="sold", quantity="1", reason="A shop")
    books = in_role(shop, Membership.Role.BOOKS)
    assert 'name="hold"' in page
    assert 'name="hold"' not in books.get(path).content.decode()
    done(books, path, **back)


def test_what_may_not_be_sold_needs_a_reason(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Ylang oil"), "1 kg", "90.00", release=None)
    client, path = signed_in(shop), f"/lots/{lot.id}/out"
    assert refused(client, path, way="sold", quantity="100 g", reason="A shop")
    reason = "the buyer tests it"
    done(client, path, way="sold", quantity="100 g", reason="A shop", deviation=reason)
    assert shop.held(lot)[0] == D(900)


def test_a_mistake_is_taken_back(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Clary sage oil"), "1 kg", "60.00")
    client, out = signed_in(shop), f"/lots/{lot.id}/out"
    done(client, out, way="gift", quantity="100 g", reason="the fair")
    page = client.get(f"/lots/{lot.id}").content.decode()
    (entry,) = re.findall(r'href="(/entries/[0-9a-f-]{36})">given out', page)
    told = shown(client.get(entry))
    assert "the fair" in told
    assert "-100 g -6.00 USD" in told
    assert "Fill this in" in refused(client, entry, reason="")
    undone = sent(client, entry, reason="it was another lot")
    assert "It takes back" in shown(client.get(undone["Location"]))
    assert "This was taken back" in shown(client.get(entry))
    assert "already" in refused(client, entry, reason="once more")
    assert shop.held(lot) == (D(1000), D(60))
    assert UUID(undone["Location"].removeprefix("/entries/"))


def test_what_stands_in_the_way_of_taking_back_is_led_to(shop: Workshop) -> None:
    """A delivery of which some was given away: the page leads there by day and kind, by no id."""
    lot = shop.receive(shop.material("Vetiver oil"), "1 kg", "60.00")
    client = signed_in(shop)
    done(client, f"/lots/{lot.id}/out", way="gift", quantity="100 g", reason="the fair")
    page = client.get(f"/lots/{lot.id}").content.decode()
    (given,) = re.findall(r'href="(/entries/[0-9a-f-]{36})">given out', page)
    (came,) = {*re.findall(r'href="(/entries/[0-9a-f-]{36})"', page)} - {given}
    answer = sent(client, came, reason="not ours")
    assert answer.status_code == 422
    link = rf'<a href="{given}">\d+ [A-Z][a-z]+ \d{{4}} · given out</a>'
    assert re.search(link, answer.content.decode())
    assert given.removeprefix("/entries/") not in shown(answer)
    sent(client, given, reason="it was another lot")
    assert "It takes back" in shown(client.get(sent(client, came, reason="not ours")["Location"]))


def test_what_stands_in_the_way_is_led_to_from_a_row_as_well(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Fir oil"), "1 kg", "60.00")
    taken = [Taken(lot.id, parse_quantity("1 kg"))]
    given = shop.does(issue, lines=taken, purpose="gift", reason="the fair", happened_at=MORNING)
    ids = [str(given.posted.entry_id)]
    way = Sentence("Reverse <these> first: {entries}", entries=ids[0])
    refusal = UsedSince(way, pointer="/lines/0", entries=ids)
    rows = Rows(UndoForm, "lines", {"lines-0-reason": "not ours"}, reader=Reader())
    assert rows.is_valid()
    with acting_as(shop.actor):
        assert rows.refuse(with_entries_named(refusal, shop.actor, Reader()))
    told = str(rows.forms[0].errors)
    assert f'first: <a href="/entries/{ids[0]}">' in told
    assert "&lt;these&gt;" in told


def test_a_supplier_is_added_and_put_right(shop: Workshop) -> None:
    client = signed_in(shop)
    facts = {"name": "Harbour oils", "contact_name": "", "mail": "orders@example.org"}
    assert "valid email" in refused(client, "/suppliers", **{**facts, "mail": "orders"})
    assert "accents" in refused(client, "/suppliers", **{**facts, "mail": "orders@häfen.example"})
    made = sent(client, "/suppliers", **facts)["Location"]
    assert "There is Harbour oils already" in refused(client, "/suppliers", **facts)
    done(client, made, **{**facts, "mail": "new@example.org"}, version="1")
    assert "new@example.org" in shown(client.get("/suppliers?q=harbour"))
    assert refused(client, made, **facts, version="1") is not None
    assert "new@example.org" in shown(client.get(made)), "what another changed is not lost"
