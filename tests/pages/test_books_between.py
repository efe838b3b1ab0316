"""The books where goods lie at shops or move between makers: what was used, gained and lost."""

from datetime import timedelta
from typing import Any, Final

import pytest

from ledger.consigning import consign, sell_consigned
from ledger.issuing import Taken, take_back
from ledger.quantities import parse_quantity
from ledger.transferring import accept_transfer, offer_transfer
from ledger.usage_reading import monthly_use, read_usage
from tests.factories import MORNING, D, open_workshop
from tests.pages.browsing import shown, signed_in

pytestmark = pytest.mark.usefixtures("database", "redis_server")
DAYS: Final = "first=2025-01-01&last=2025-12-31"


def test_what_a_shop_sold_is_used() -> None:
    """Of 10 g for 10.00 a shop has 4 g, has sold 3 g of them, and one of these came back."""
    shop = open_workshop()
    client, oil = signed_in(shop), shop.material("Rose otto")
    lot = shop.receive(oil, "10 g", "10.00")
    about: dict[str, Any] = {"shop": "Quay shop", "happened_at": MORNING}
    shop.does(consign, lines=[Taken(lot.id, parse_quantity("4 g"))], **about)
    assert "Nothing was used" in shown(client.get(f"/books/usage?{DAYS}"))
    sold = shop.does(sell_consigned, lines=[Taken(lot.id, parse_quantity("3 g"))], **about)
    for page in ("usage", "sold"):
        assert "Rose otto 3 g 3.00 USD" in shown(client.get(f"/books/{page}?{DAYS}"))
        table = client.get(f"/books/{page}?{DAYS}&as=csv").content.decode()
        assert "Rose otto,3,g,3" in table
    working = shown(client.get(f"/materials/{oil.id}/gone?of=used&{DAYS}"))
    assert "3.00 USD" in working
    facts = {"sale": sold.posted.entry_id, "reason": "dented", "happened_at": MORNING}
    shop.does(take_back, lines=[Taken(lot.id, parse_quantity("1 g"))], **facts)
    assert "Rose otto 2 g 2.00 USD" in shown(client.get(f"/books/usage?{DAYS}"))
    week, far = MORNING + timedelta(days=7), MORNING + timedelta(days=60)
    read = shop.does(read_usage, material=oil.id, period="week", periods=26, now=week)
    assert sum(read.series) == D(2)
    assert shop.does(monthly_use, materials=[oil.id], now=far)[oil.id] > 0


def test_what_is_gained_on_a_move_is_told_with_what_is_expensed() -> None:
    """What had cost 10.00 goes for 12.50; the one that has it paid that, and gained nothing."""
    giver = open_workshop()
    taker = open_workshop("Mill Bench", coop=giver.coop)
    client = signed_in(giver)
    lot = giver.receive(giver.material("Jojoba oil"), "1 kg", "10.00")
    about = {"maker": taker.actor.maker, "quantity": parse_quantity("1 kg"), "price": D("12.50")}
    offer = giver.does(offer_transfer, lot=lot.id, happened_at=MORNING, **about)
    taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    page = shown(client.get(f"/books/sold?{DAYS}"))
    assert "gained or lost on goods that moved between makers -2.50 USD" in page
    assert "In all -2.50 USD" in page
    table = client.get(f"/books/sold?{DAYS}&as=csv&table=expensed").content.decode()
    assert table.splitlines()[-1].endswith("gained or lost on goods that moved between makers,-2.5")
    name = "gain or loss on moves between makers"
    working = shown(client.get(f"/books/expensed?{DAYS}&kind=transfer&name={name}"))
    assert "-2.50 USD" in working
    assert "All that was expensed" not in shown(signed_in(taker).get(f"/books/sold?{DAYS}"))
