"""Bills that come after a delivery on its page, one of them undone, and a wrong delivery."""

import re
from typing import Any

import pytest

from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def test_what_is_billed_later_falls_on_what_is_left_and_on_what_was_used(shop: Workshop) -> None:
    """Of 2 kg at 40.00 half went into a batch: a freight of 10.00 falls on both halves."""
    oil = shop.material("Oil")
    lot = shop.receive(oil, "2 kg", "40.00")
    made = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg")
    shop.weigh_all(made)
    shop.finish(made, "1 kg")
    client = signed_in(shop)
    path = re.findall(r"/receipts/[0-9a-f-]{36}", client.get("/receipts").content.decode())[0]
    bill = {"do": "bill", "amount": "10", "spread_by": "mass"}
    assert "Which lot" in refused(client, path, **bill, kind="dearer")
    assert "No supplier" in refused(client, path, **bill, kind="freight", supplier="Nobody")
    page = plain(done(client, path, **bill, kind="freight", reference="F 7"))
    assert "On what is left 5.00 USD, on what was used 5.00 USD" in page
    assert made.batch.code in page
    assert "25.00" in plain(shown(client.get(f"/lots/{lot.id}")))
    page = plain(done(client, path, **{**bill, "lot": str(lot.id)}, kind="cheaper"))
    assert "another price" in page
    assert "-10.00 USD" in page
    page = plain(done(client, path, **{**bill, "amount": "4"}, kind="credit"))
    assert "credit note" in page
    ids = re.findall(r'name="bill" value="([^"]+)"', client.get(path).content.decode())
    assert len(ids) == 3
    shop.receive(shop.material("Clay"), "1 kg", "3.00")
    elsewhere = re.findall(r"/receipts/[0-9a-f-]{36}", client.get("/receipts").content.decode())[0]
    assert elsewhere != path
    about = {"do": "undo", "bill": ids[-1], "reason": "not ours"}
    assert "no such thing" in refused(client, elsewhere, **about)
    assert refused(client, path, do="undo", bill=ids[-1], reason="")
    about = {"do": "undo", "bill": ids[-1], "reason": "not ours" * 60}
    page = sent(client, path, **about).content.decode()
    (field,) = re.findall(rf'<input[^>]* id="undo_{ids[-1]}_reason"[^>]*>', page)
    assert about["reason"] in field, "what was typed is still there"
    assert 'aria-invalid="true"' in field
    fold = page[page.rindex("<details", 0, page.index(field)) :]
    assert re.match("<details[^>]* open>", fold), fold[:80]
    assert "taken back" in done(client, path, do="undo", bill=ids[-1], reason="not ours")
    assert "used" in refused(client, path, do="undo", reason="another oil")


def test_a_wrong_delivery_goes_off_the_shelf_again(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Wax"), "1 kg", "9.00")
    client = signed_in(shop)
    path = re.findall(r"/receipts/[0-9a-f-]{36}", client.get("/receipts").content.decode())[0]
    page = done(client, path, do="undo", reason="it was 2 kg")
    assert "taken back" in page
    assert "Book it" not in page
    assert "0 g" in plain(shown(client.get(f"/lots/{lot.id}")))
    file = client.get("/receipts?as=csv").content.decode()
    assert "yes,9" in file
