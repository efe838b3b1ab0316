"""The pages of places: naming them, putting a lot into one, and finding it there."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from api.pages import lot_places
from ledger.entries import reverse_entry
from ledger.issuing import Taken, issue
from ledger.lots import decide
from ledger.models import Lot, Membership, Place, Placing
from ledger.opened_lots import say_opened
from ledger.places import add_place, change_place, put_lot
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in, typed_in


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture
def client(shop: Workshop) -> Client:
    return signed_in(shop)


def oil_in(shop: Workshop, place: Place | None = None) -> Lot:
    lot = shop.receive(shop.material("Jojoba oil"), "1 kg", "9.00")
    if place is not None:
        shop.does(put_lot, lot=lot.id, place=place.id)
    return lot


def test_places_are_named_renamed_and_given_up(shop: Workshop, client: Client) -> None:
    assert "None yet. Name the first" in shown(client.get("/places"))
    page = done(client, "/places", name="Cold shelf", keeps="")
    assert "Cold shelf any lot 0 lots" in page
    assert "You have a place of this name already" in refused(client, "/places", name="COLD SHELF")
    done(client, "/places", name="Cage", keeps="rejected")
    assert "Cage only what is rejected 0 lots Cold shelf" in shown(client.get("/places"))
    cold = shop.does(lambda actor: Place.objects.get(maker_id=actor.maker, name="Cold shelf"))
    oil_in(shop, cold)
    assert "Cold shelf any lot 1 lot " in shown(client.get("/places"))
    path = f"/places/{cold.id}"
    page = shown(client.get(path))
    assert "Only once nothing lies there" in page
    assert "lots that lie there stay; Today tells which of them do not belong there" in page
    typed = typed_in(client, path, "name")
    assert "Lots lie in Cold shelf, so it is in use: 1 of them" in refused(
        client, path, **typed, retired="on"
    )
    assert "Cold room only what is released" in done(
        client, path, **{**typed, "name": "Cold room", "keeps": "released"}
    )
    # Whoever had the page open before does not undo that unseen.
    assert sent(client, path, **typed).status_code == 422


def test_a_lot_is_put_where_it_may_lie(shop: Workshop, client: Client) -> None:
    lot = oil_in(shop)
    path = f"/lots/{lot.id}"
    assert "No place of yours may keep it yet" in shown(client.get(path))
    cold, waits = (
        shop.does(add_place, name=name, keeps=keeps)
        for name, keeps in (("Cold shelf", ""), ("Waiting shelf", "quarantine"))
    )
    page = shown(client.get(path))
    assert "in no place Cold shelf Places that are kept for something else" in page
    assert "Lies in Cold shelf" in done(client, path, do="put", place=str(cold.id))
    assert "Choose one of those" in refused(client, path, do="put", place=str(waits.id))
    assert typed_in(client, path, "place")["place"] == str(cold.id)
    page = done(client, path, do="put", place="")
    assert "Lies in" not in page
    person = get_user_model().objects.get(pk=shop.actor.person_id).username
    day = datetime.now(UTC).strftime("%-d %b %Y")
    assert re.search(
        rf"Where it was put in no place {person}, {day}, \d\d:\d\d Cold shelf {person}, {day}", page
    )


def test_how_a_lot_stands_is_said_as_everywhere(shop: Workshop, client: Client) -> None:
    shop.material("Almond oil")
    held = shop.does(add_place, name="Red shelf", keeps="hold")
    facts = {"material": "Almond oil", "quantity": "1 kg", "price": "5", "supplier_lot": "N1"}
    note = {"supplier": "Nut Mill", "new_supplier": "on", "lines": "1"}
    note |= {f"lines-0-{name}": value for name, value in facts.items()}
    page = refused(client, "/receive", **note, **{"lines-0-place": str(held.id)})
    assert "Red shelf is kept for lots that are on hold" in page
    assert "is in quarantine: put it into another place" in page


def test_what_is_out_of_place_is_told(shop: Workshop, client: Client) -> None:
    lot = oil_in(shop, shop.does(add_place, name="Sales shelf", keeps="released"))
    path = f"/lots/{lot.id}"
    assert "does not belong" not in shown(client.get(path))
    shop.does(decide, lot=lot.id, decision="reject", basis="smells of paint")
    told = "It lies in Sales shelf, where it does not belong as it stands now."
    assert f"{told} Carry it elsewhere, and say where." in shown(client.get(path))
    assert "out of place rejected" in shown(client.get("/lots"))
    # Who has no form to say it is not led to one.
    reader = in_role(shop, Membership.Role.READ_ONLY).get(path)
    assert told in shown(reader)
    assert 'href="#place"' not in reader.content.decode()
    assert told not in done(client, path, do="put", place="")


def test_where_a_lot_lies_stays_chosen_though_it_does_not_belong_there(
    shop: Workshop, client: Client
) -> None:
    """A quarantine shelf alone, and a lot of it that was released: nothing else may keep it."""
    lot = shop.receive(shop.material("Jojoba oil"), "1 kg", "9.00", release=None)
    waits = shop.does(add_place, name="Waiting shelf", keeps="quarantine")
    shop.does(put_lot, lot=lot.id, place=waits.id)
    shop.does(decide, lot=lot.id, decision="release", basis="clear")
    path = f"/lots/{lot.id}"
    page = shown(client.get(path))
    assert "in no place Waiting shelf (wrong place)" in page
    assert "It lies there now" in page
    assert "No place of yours may keep it" not in page
    typed = typed_in(client, path, "place")
    assert typed["place"] == str(waits.id)
    assert "Waiting shelf is kept for lots that are in quarantine" in refused(
        client, path, **{**typed, "do": "put"}
    )
    assert shop.does(lambda actor: Placing.objects.filter(lot=lot).count()) == 1
    assert "Lies in" not in done(client, path, do="put", place="")


def test_places_in_use_come_before_those_that_are_not(
    shop: Workshop, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, cold = (shop.does(add_place, name=name) for name in ("Attic", "Cold shelf"))
    gone = {"place": old.id, "version": None, "now": datetime.now(UTC), "retired": True}
    shop.does(change_place, **gone)
    page = shown(client.get("/places"))
    assert 0 < page.index(cold.name) < page.index(old.name)
    assert "There are more" not in page
    monkeypatch.setattr(lot_places, "MOST", 1)
    page = shown(client.get("/places"))
    assert old.name not in page
    assert "There are more: these are the first 1" in page


def test_the_shelf_is_looked_through_by_place(shop: Workshop, client: Client) -> None:
    cold = shop.does(add_place, name="Cold shelf")
    here, there = oil_in(shop, cold), oil_in(shop)
    page = client.get(f"/lots?place={cold.id}")
    assert f"{here.code} Jojoba oil" in shown(page)
    assert f"{there.code} Jojoba oil" not in shown(page)
    # The address keeps it, for the files as well.
    assert f'href="?place={cold.id}&amp;as=csv"' in page.content.decode()
    file = client.get(f"/lots?place={cold.id}&as=csv").content.decode("utf-8-sig").splitlines()
    assert file[0].startswith("Lot,Material,Their lot,Status,Place,")
    assert [row.split(",")[4] for row in file[1:]] == ["Cold shelf"]


def test_a_place_that_is_no_longer_used_is_looked_through_as_well(
    shop: Workshop, client: Client
) -> None:
    """What is used up leads to the place where it lay."""
    attic, other = shop.does(add_place, name="Attic"), oil_in(shop)
    lot = oil_in(shop, attic)
    gift = {"purpose": "gift", "reason": "to a neighbour", "happened_at": MORNING}
    given = shop.does(issue, lines=[Taken(lot.id, parse_quantity("1 kg"))], **gift)
    shop.does(change_place, place=attic.id, version=None, now=MORNING, retired=True)
    (path,) = re.findall(r"/lots\?place=[^\"]+", client.get(f"/lots/{lot.id}").content.decode())
    page = client.get(path)
    assert f'<option value="{attic.id}" selected>Attic</option>' in page.content.decode()
    assert "Nothing lies there." in shown(page)
    assert "Try fewer letters" not in shown(page)
    assert other.code not in shown(page)
    assert "Nothing like this lies there." in shown(client.get(f"{path}&status=hold"))
    shop.does(
        reverse_entry, entry=given.posted.entry_id, reason="they had some", happened_at=MORNING
    )
    assert lot.code in shown(client.get(path))
    assert client.get(f"/lots?place={other.id}").status_code == 404


def test_who_may_not_put_anything_sees_where_it_lies(shop: Workshop) -> None:
    cold = shop.does(add_place, name="Cold shelf")
    lot, reader = oil_in(shop, cold), in_role(shop, Membership.Role.READ_ONLY)
    assert "Lies in Cold shelf" in shown(reader.get(f"/lots/{lot.id}"))
    for path in (f"/lots/{lot.id}", "/places", f"/places/{cold.id}"):
        assert 'name="place"' not in reader.get(path).content.decode()
        assert 'name="keeps"' not in reader.get(path).content.decode()
    assert sent(reader, f"/lots/{lot.id}", do="put", place="").status_code == 422


def test_today_leads_to_what_lies_wrong(shop: Workshop, client: Client) -> None:
    lot = oil_in(shop, shop.does(add_place, name="Sales shelf", keeps="released"))
    assert "Out of place" not in shown(client.get("/"))
    shop.does(decide, lot=lot.id, decision="quarantine", basis="the label came off")
    page = client.get("/")
    assert (
        f"Out of place {lot.code} Jojoba oil in quarantine"
        " lies in Sales shelf, where it does not belong now Carry it elsewhere"
    ) in shown(page)
    assert f'href="/lots/{lot.id}#place"' in page.content.decode()
    done(client, f"/lots/{lot.id}", do="put", place="")
    assert "Out of place" not in shown(client.get("/"))


def test_one_place_is_counted_alone(shop: Workshop, client: Client) -> None:
    cold = shop.does(add_place, name="Cold shelf")
    here, there = oil_in(shop, cold), oil_in(shop)
    assert f"/counts?place={cold.id}" in client.get(f"/places/{cold.id}").content.decode()
    typed = typed_in(client, f"/counts?place={cold.id}", "lies_in")
    assert typed["lies_in"] == str(cold.id)
    page = done(client, "/counts", **typed)
    assert "Cold shelf" in page
    assert (here.code in page, there.code in page) == (True, False)
    empty = shop.does(add_place, name="Attic")
    assert "Nothing of this lies in store" in shown(
        sent(client, "/counts", lies_in=str(empty.id), place="")
    )


def test_what_comes_is_put_at_once(shop: Workshop, client: Client) -> None:
    shop.material("Almond oil")
    cold, waits, cage = (
        shop.does(add_place, name=name, keeps=keeps)
        for name, keeps in (("Cold shelf", ""), ("Waiting", "quarantine"), ("Cage", "rejected"))
    )
    note = {"supplier": "Nut Mill", "new_supplier": "on", "lines": "2"}
    for number, (quantity, place) in enumerate((("1 kg", cold), ("2 kg", waits))):
        facts = {"material": "Almond oil", "quantity": quantity, "price": "5"}
        facts |= {"supplier_lot": f"N{number}", "place": str(place.id)}
        note |= {f"lines-{number}-{name}": value for name, value in facts.items()}
    # What comes new is never rejected already.
    page = shown(client.get("/receive"))
    assert "in no place Cold shelf Waiting" in page
    assert "Cage" not in page
    wrong = {**note, "lines-0-place": str(cage.id)}
    assert "Cage is kept for lots that are rejected" in refused(client, "/receive", **wrong)
    done(client, "/receive", **note)
    rows = shown(client.get("/lots"))
    assert "theirs: N0 · Cold shelf" in rows
    assert "theirs: N1 · Waiting" in rows


def test_the_bench_and_the_paper_say_where_to_fetch_it(shop: Workshop, client: Client) -> None:
    lot = oil_in(shop, shop.does(add_place, name="Cold shelf"))
    batch = shop.plan(shop.formula("Body oil", [(lot.material, "100")]), "100 g").batch
    bench = shown(client.get(f"/batches/{batch.id}/bench")).replace("\xa0", " ")
    assert f"Meant to be poured: {lot.code} (100 g · Cold shelf)" in bench
    sheet = shown(client.get(f"/batches/{batch.id}/sheet"))
    assert f"{lot.code} · Cold shelf" in sheet


def test_the_paper_says_by_when_an_open_lot_is_to_be_used(shop: Workshop, client: Client) -> None:
    far = date(2099, 1, 31)
    sealed, opened = (
        shop.receive(shop.material(name, use_within_days=30), "1 kg", "9.00", expires_on=far)
        for name in ("Plum oil", "Sesame oil")
    )
    shop.does(say_opened, lot=opened.id, opened_on=TODAY)
    lines = [(sealed.material, "50"), (opened.material, "50")]
    planned = shop.plan(shop.formula("Body oil", lines), "100 g", planned_for=TODAY)
    sheet = shown(client.get(f"/batches/{planned.batch.id}/sheet"))
    assert f"{sealed.code}, use by 31 Jan 2099" in sheet
    assert f"{opened.code}, use by {TODAY + timedelta(days=30):%-d %b %Y}" in sheet
