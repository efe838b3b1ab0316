"""Finding a lot by whatever stands on it, and where it came from and went."""

import re
from datetime import timedelta
from typing import Any

import pytest

from ledger.access import acting_as
from ledger.issuing import Taken, sell
from ledger.models import Lot
from ledger.quantities import parse_quantity
from tests.factories import MORNING, Workshop, open_workshop
from tests.pages.browsing import done, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_what_is_written_apart_is_found_together(shop: Workshop) -> None:
    oil = shop.material("Meadow-foam oil 250 mL", inci_name="Limnanthes Alba Seed Oil")
    shop.formula("Hand wash 250 mL", [(oil, "100")])
    client = signed_in(shop)
    line = {"material": oil.name, "quantity": "5 kg", "price": "50.00", "supplier_lot": "2610-1323"}
    typed = {f"lines-0-{name}": text for name, text in line.items()}
    done(client, "/receive", lines="1", supplier="Valley Oils", new_supplier="on", **typed)
    with acting_as(shop.actor):
        lot = Lot.objects.get(supplier_lot="2610-1323")
    for sought in ("26101323", "2610 1323", "2610-1323", "valley", "meadowfoam 250ml"):
        assert lot.code in shown(client.get("/lots", {"q": sought})), sought
    assert lot.code not in shown(client.get("/lots", {"q": "2610-1324"}))
    for page, sought in (
        ("/materials", "meadow foam 250ml"),
        ("/formulas", "handwash 250ml"),
        ("/formulas", "hand 250 ml"),
    ):
        assert "250 mL" in shown(client.get(page, {"q": sought})), (page, sought)
        assert "250 mL" not in shown(client.get(page, {"q": f"{sought} 300"}))


def test_a_lot_says_where_it_came_from_and_went(shop: Workshop) -> None:
    oil = shop.material("Plum oil")
    lot = shop.receive(oil, "5 kg", "50.00")
    version = shop.formula("Plum balm", [(oil, "100")])
    planned = shop.plan(version, "1 kg")
    shop.weigh_all(planned)
    balm = shop.finish(planned, "1 kg").lot
    taken = Taken(str(lot.id), parse_quantity("2 kg"))
    later = MORNING + timedelta(hours=1)
    shop.does(sell, lines=[taken], happened_at=later, customer="Pier shop")
    client, code = signed_in(shop), planned.batch.code
    page = client.get(f"/lots/{lot.id}").content.decode()
    life = re.sub(r"\s+", " ", re.sub("<[^>]+>", "", page))
    assert f"weighed into a batch: {code}" in life
    assert "sold: Pier shop" in life
    assert f"Went to: Pier shop, {code} · Where all of it went" in life, "the latest first"
    assert re.search(r"Came from: Supplier \d+", life)
    assert f'<a href="/batches/{planned.batch.id}">{code}</a>' in page
    assert f'<a href="/suppliers/{lot.supplier_id}">' in page
    made = client.get(f"/lots/{balm.id}").content.decode()
    told = re.sub(r"\s+", " ", re.sub("<[^>]+>", "", made))
    assert f"Came from: {code}" in told
    assert f"made: {code}" in told


def test_why_something_is_taken_back_can_be_chosen(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Rice oil"), "5 kg", "50.00")
    client = signed_in(shop)
    (entry,) = re.findall(
        r'href="(/entries/[^"]+)"', client.get(f"/lots/{lot.id}").content.decode()
    )
    page = client.get(entry).content.decode()
    (listed,) = re.findall('name="reason"[^>]* list="([^"]+)"', page)
    offered = page.split(f'<datalist id="{listed}">')[1].split("</datalist>")[0]
    assert "<option>typed wrongly</option>" in offered
    # It happened, and taking it back would put it on the shelf again.
    assert "spilled" not in page


def test_one_lot_that_ended_in_too_many_places_to_draw_says_so(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, lot = signed_in(shop), shop.receive(shop.material("Rose oil"), "5 kg", "50.00")
    path = f"/lots/{lot.id}/trace"
    monkeypatch.setattr("api.pages.traced_nodes.MOST_BANDS", 0)
    assert "Too much for a picture" not in shown(client.get(path)), "it went nowhere"
    taken = Taken(str(lot.id), parse_quantity("2 kg"))
    shop.does(sell, lines=[taken], happened_at=MORNING, customer="Pier shop")
    assert "Too much for a picture: all of it stands beneath." in shown(client.get(path))


def test_whence_a_lot_came_is_told_however_much_moved_since(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, lot = signed_in(shop), shop.receive(shop.material("Hemp oil"), "5 kg", "50.00")
    taken = Taken(str(lot.id), parse_quantity("200 g"))
    for number in range(1, 4):
        shop.does(sell, lines=[taken], happened_at=MORNING, customer=f"Stall {number}")
    monkeypatch.setattr("api.pages.lot_life.MOST_MOVES", 3)
    page = shown(client.get(f"/lots/{lot.id}"))
    assert re.search(r"Came from: Supplier \d+", page)
    assert "These are the latest" not in page, "only what it came by is not among them"
    shop.does(sell, lines=[taken], happened_at=MORNING, customer="Stall 4")
    page = shown(client.get(f"/lots/{lot.id}"))
    assert re.search(r"Came from: Supplier \d+", page)
    assert "Went to: Stall 4, Stall 3, Stall 2" in page
    assert "These are the latest; all of them stand there." in page
    assert "delivered" not in page.split("Its life on the shelf")[-1].split("Decided about")[0]


def test_of_many_ends_the_latest_are_named_and_that_is_said(shop: Workshop) -> None:
    client, lot = signed_in(shop), shop.receive(shop.material("Flax oil"), "5 kg", "50.00")
    taken = Taken(str(lot.id), parse_quantity("200 g"))
    for number in range(1, 10):
        shop.does(sell, lines=[taken], happened_at=MORNING, customer=f"Stall {number}")
        told = "These are the latest" in shown(client.get(f"/lots/{lot.id}"))
        assert told == (number == 9)
