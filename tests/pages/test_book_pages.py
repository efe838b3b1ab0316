"""The books as a bookkeeper reads them: rows that add up, and only days that have been."""

import re
from decimal import Decimal
from typing import Any

import pytest

from ledger.issuing import Taken, issue, sell
from ledger.quantities import parse_quantity
from tests.factories import MORNING, Workshop, open_workshop
from tests.pages.browsing import shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    """Three materials, of which two thirds of ten cents are in store and one third was given."""
    shop = open_workshop()
    for name in ("Clay", "Mica", "Talc"):
        lot = shop.receive(shop.material(name), "3 g", "0.10")
        given = [Taken(lot=lot.id, quantity=parse_quantity("1 g"))]
        shop.does(issue, lines=given, purpose="gift", reason="for a fair", happened_at=MORNING)
    return shop


def table(page: str, column: str, most: int) -> list[Decimal]:
    """The amounts of the page's table, its sum last."""
    found = re.findall(r"([0-9.]+)\s+USD", page[page.index(column) :])
    return [Decimal(one) for one in found[:most]]


@pytest.mark.parametrize(
    ("path", "column", "total"),
    [
        ("/books", "wherever it is", "0.20"),
        ("/books/usage?first=2025-01-01&last=2025-12-31", "At cost", "0.10"),
    ],
)
def test_rows_add_up_to_their_sum(shop: Workshop, path: str, column: str, total: str) -> None:
    *rows, together = table(shown(signed_in(shop).get(path)), column, 4)
    assert together == Decimal(total) == sum(rows)
    assert max(rows) - min(rows) == Decimal("0.01")


def test_what_was_sold_is_as_much_in_both_tables() -> None:
    """Of 3 g for 0.10 one is sold, one given and one spilt: a third of ten cents each."""
    shop = open_workshop()
    lot = shop.receive(shop.material("Zinc oxide"), "3 g", "0.10")
    about = {"lines": [Taken(lot=lot.id, quantity=parse_quantity("1 g"))], "happened_at": MORNING}
    shop.does(sell, customer="Stall", **about)
    for purpose in ("gift", "tester"):
        shop.does(issue, purpose=purpose, reason="for a fair", **about)
    page = shown(signed_in(shop).get("/books/sold?first=2025-01-01&last=2025-12-31"))
    above, _, _ = page.partition("All that was expensed")
    assert table(above, "At cost", 2) == [Decimal("0.03")] * 2
    *rows, together = table(page, "All that was expensed", 4)
    assert rows[0] == Decimal("0.03")
    assert together == sum(rows) == Decimal("0.10")


def test_what_stock_is_worth_is_told_with_its_day_also_on_paper(shop: Workshop) -> None:
    page = shown(signed_in(shop).get("/books?on=2025-06-01"))
    assert "What stock is worth 1 Jun 2025" in page


def test_a_day_that_has_not_come_is_refused(shop: Workshop) -> None:
    answer = signed_in(shop).get("/books?on=2099-01-01")
    assert answer.status_code == 422
    assert "has not come yet" in shown(answer)


@pytest.mark.parametrize("path", ["formulas", "products", "suppliers", "lots", "materials"])
def test_a_character_of_nothing_finds_what_is_found_without_it(shop: Workshop, path: str) -> None:
    client = signed_in(shop)
    assert client.get(f"/{path}?q=%00").status_code in (200, 422)
