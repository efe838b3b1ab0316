"""Figures stand on every page as its reader writes numbers."""

import re
from collections.abc import Iterator
from html import unescape
from typing import Any, Final

import pytest

from api.pages.reader import WRITTEN
from api.preferences import set_preferences
from formulas.containers import Piece, record_water_fill, set_container
from ledger.catalogue import add_supplier
from ledger.offering import BreakFacts, PriceFacts, add_offer
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_density, parse_quantity
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.filling import fill, fill_the_rest
from tests.pages.browsing import signed_in
from tests.pages.looking import Seen, all_pages
from tests.pages.shops import planned_ahead, work
from tests.pages.test_queries import pages_of

# Of the readers we know the French one alone writes a point into no number, not between thousands.
FRENCH: Final = "fr"
POINTED: Final = re.compile(r"(?<![\w.,-])\d+\.\d+(?![\w.]*\.\d)")
# A number of thousands before its unit, with nothing between them and the hundreds.
UNITS: Final = r"pieces?|each|k?g|m?L|gal|lb|oz|mPa·s|°C|%|\N{MULTIPLICATION SIGN}|[A-Z]{3}"
WHOLE: Final = re.compile(rf"(?<![\w.,/-])\d{{4,}}(?:[.,]\d+)? (?:{UNITS})(?!\w)")
UNSEEN: Final = re.compile(r"<(script|style|textarea|code)\b.*?</\1>|<!--.*?-->", re.DOTALL)
# A paragraph of a law is called so in every language, a name stays as it was given, and how others
# write numbers is shown so.
CALLED: Final = re.compile(
    "|".join(
        [
            r"CFR \d+\.\d+",
            r"Annex I+, \d\.\d",
            r"Tea balm 62\.5 g",
            # Of a figure it is told that it can be read in two ways, or how it was read.
            r"such as 1\.250, is asked",
            r"as its decimal sign: 12\.5",
            *map(re.escape, WRITTEN.values()),
        ]
    )
)
# A label is written as the law of its market has it, and an order that leaves the house goes to
# somebody whose ways nobody knows.
AS_OTHERS_READ: Final = {"/products/<uuid:id>/label", "/orders/<uuid:id>/sheet"}


@pytest.fixture(scope="module")
def pages(database: Any, redis_server: Any) -> list[Seen]:
    """Every page there is, of a maker who has something of each kind that is no whole number."""
    shop = open_workshop()
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    fill(shop)
    fill_the_rest(shop)
    also = [*broken(shop), *thousands(shop), *pages_of(ids)]
    shop.does(set_preferences, units="", theme="", numbers=FRENCH)
    return list(all_pages(signed_in(shop), of_each=4, also=also))


def broken(shop: Workshop) -> list[str]:
    """What was typed with a fraction; where each is shown."""
    oil = shop.material("Tea oil", density="0.915 g/mL")
    lot = shop.receive(oil, "2.5 L", "30.00", density="0.917 g/mL")
    supplier = shop.does(add_supplier, name="Tea oils")
    offered = {"density": parse_density("0.916 g/mL"), "price": PriceFacts(TODAY, D("12.5"))}
    pack = parse_quantity("2.5 L")
    offer = shop.does(add_offer, supplier=supplier.id, material=oil.id, pack=pack, **offered)
    version = shop.formula("Tea balm", [(oil, "100")], density="0.915 g/mL")
    shop.next_version(version, [(oil, "100")], density="0.925 g/mL", expected=1)
    product = shop.product(version, "62.5 g")
    jar = shop.material("Tea jar", measured_by="count")
    about = {"nominal": parse_quantity("62.5 mL"), "headspace_percent": D(0)}
    shop.does(set_container, material=jar.id, **about)
    filled = {"level": "usable", "at": "20.5 degC", "happened_at": MORNING}
    pieces = [Piece(parse_quantity("96 g"), parse_quantity("30 g"))]
    shop.does(record_water_fill, material=jar.id, pieces=pieces, **filled)
    return [
        *(f"/lots/{lot.id}", f"/materials/{oil.id}", f"/materials/{jar.id}/container"),
        *(f"/offers/{offer.id}", "/containers", "/products?q=tea"),
        *(f"/formulas/{version.formula_id}", f"/formulas/{version.formula_id}/versions"),
        f"/products/{product.id}/price",
    ]


def thousands(shop: Workshop) -> list[str]:
    """What was typed with thousands of pieces and packs; where each is shown."""
    caps, supplier = shop.material("Cap", measured_by="count"), shop.does(add_supplier, name="Caps")
    breaks = [BreakFacts(parse_quantity("12000 each"), D("5.50"))]
    price, pack = PriceFacts(TODAY, D(6), breaks=breaks), parse_quantity("1200 each")
    about = {"supplier": supplier.id, "material": caps.id}
    offer = shop.does(add_offer, pack=pack, price=price, **about)
    line = Ordered(str(caps.id), pack, D(6600), packs=1100)
    order = shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
    shop.receive(shop.material("Lye"), "2500 g", "9.00")
    return [f"/{kind}/{one.id}" for kind, one in (("suppliers", supplier), ("offers", offer))] + [
        f"/orders/{order.id}",
    ]


def texts_of(page: str) -> Iterator[str]:
    """What stands between the tags of a page, but for what is typed, run or drawn by."""
    for one in re.split(r"<[^>]+>", UNSEEN.sub("", page)):
        if one.strip():
            yield " ".join(unescape(one).split())


def pointed(page: str) -> list[str]:
    texts = (CALLED.sub("", text) for text in texts_of(page))
    return [text for text in texts if POINTED.search(text)]


def test_no_figure_has_a_point_for_a_reader_who_writes_a_comma(pages: list[Seen]) -> None:
    wrong = {
        (one.route, text)
        for one in pages
        if one.route not in AS_OTHERS_READ
        for text in pointed(one.text)
    }
    assert sorted(wrong) == []


def test_thousands_are_parted_before_a_unit(pages: list[Seen]) -> None:
    wrong = {
        (one.route, text) for one in pages for text in texts_of(one.text) if WHOLE.search(text)
    }
    assert sorted(wrong) == []
    told = " ".join(text for one in pages for text in texts_of(one.text))
    typed = ("1 200 pieces", "from 12 000 pieces", "1 100 \N{MULTIPLICATION SIGN} 1 200 pieces")
    assert [one for one in typed if one not in told] == []


def test_what_was_typed_with_a_fraction_is_there_to_be_seen(pages: list[Seen]) -> None:
    told = " ".join(text for one in pages for text in texts_of(one.text))
    typed = ("0,915 g/mL", "0,917 g/mL", "0,916 g/mL", "0,925 g/mL", "62,5 g", "62,5 mL")
    assert [one for one in (*typed, "2,5 L", "20,5 °C") if one not in told] == []


def test_a_point_is_found_and_no_law_or_day() -> None:
    page = "<p>0.9 g/mL</p><td>12.50</td><p>21 CFR 701.3, at 5.6.2025</p><code>1.5</code>"
    assert pointed(page) == ["0.9 g/mL", "12.50"]


def test_thousands_in_one_are_found_and_no_year_or_code() -> None:
    texts = ("at 1000 pieces", "1200,5 g", "12345 USD", "4 May 2025", "1 200 pieces", "NB2025 g")
    assert [one for one in texts if WHOLE.search(one)] == list(texts[:3])
