"""The file of a list that its page cuts has all of it."""

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client

from api.pages import lot_places, rounds, shares
from ledger.places import add_place
from ledger.sharing import open_share
from tests.factories import MORNING, Workshop, open_workshop
from tests.ordering_together import asked
from tests.pages.browsing import shown


def rows(client: Client, path: str) -> int:
    """How many lines there are under the headings."""
    return len(client.get(f"{path}?as=csv").content.decode().splitlines()) - 1


def test_of_places(shop: Workshop, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lot_places, "MOST", 1)
    for name in ("Cold shelf", "Dry shelf", "Cellar"):
        shop.does(add_place, name=name)
    assert "There are more: these are the first 1" in shown(client.get("/places"))
    assert rows(client, "/places") == 3


def test_of_rounds(shop: Workshop, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rounds, "MOST", 1)
    for _ in range(3):
        asked(shop, closes_at=datetime.now(UTC) + timedelta(days=2))
    assert "Older ones" in shown(client.get("/order-rounds"))
    assert rows(client, "/order-rounds") == 3


def test_of_shares_whose_page_says_that_there_are_more(
    shop: Workshop, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of one's own, and a later one of another, which hides none of them."""
    monkeypatch.setattr(shares, "MOST", 1)
    other = open_workshop("Mill Bench", coop=shop.coop)
    for giver, names in ((shop, ("Argan oil", "Borage oil")), (other, ("Castor oil",))):
        for name in names:
            lot = giver.receive(giver.material(name), "1 kg", "9.00")
            giver.does(open_share, lot=lot.id, happened_at=MORNING)
    page = shown(client.get("/co-op"))
    assert "Borage oil" in page
    assert "Castor oil" in page
    assert "Argan oil" not in page
    assert "There are more; all of them stand in the file." in page
    assert rows(client, "/co-op") == 3
