"""Every word of every page can be said in another language.

The pages are read in a language in which each text of the catalogue stands between marks
(tests/pseudo.py). What is left without marks is what people typed, figures, units and codes.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import psycopg
import pytest
from django.test import Client
from django.test.utils import override_settings
from psycopg import sql

from api import rate
from deploy import embedded
from ledger.catalogue import add_supplier
from ledger.makers import STANDING
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from tests import marking
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.filling import fill
from tests.marking import ABROAD
from tests.pages.browsing import signed_in
from tests.pages.codes import AS_WRITTEN, Said
from tests.pages.fields import read
from tests.pages.looking import ASKED, ROUTES, Seen, all_pages
from tests.pages.shops import everything_under, planned_ahead, work
from tests.pages.test_queries import pages_of, without_one
from tests.pages.test_rounds import for_the_co_op
from tests.pages.ways import answers, ways_of
from tests.pseudo import LANGUAGE, MARKED, marked, write_pseudo
from tests.telling import tell_more

# What is called so in every language: our name, units by their symbols, kinds of files, numbers
# that others give out, and how a label in the United States says what is in the pack.
SYMBOLS: Final = {
    *("Stillroom", "kg", "g²", "mL", "lb", "oz", "wt", "USD", "CSV", "XLSX", "GTIN", "Net", "Wt"),
}
WORD: Final = re.compile(r"[^\W\d_]{2,}")
# Of a code, an id, a name of a file or an address nothing is a word.
CODE: Final = re.compile(r"\S*(?:\d\S*[^\W\d_]|[^\W\d_]\S*\d|[/@]|\w\.\w)\S*")
# What may be a code as well, and so is not taken for typed.
ALONE: Final = re.compile("[a-z]+")


@dataclass(frozen=True)
class Ground:
    """A maker's pages in the marked language, and what of them people typed."""

    client: Client
    pages: list[Seen]
    typed: re.Pattern[str]

    def unmarked(self, page: str) -> list[str]:
        """The texts of a page in which a word stands that is of no catalogue and was not typed."""
        said = dict.fromkeys(text for tag, text in Said(page).said if tag not in AS_WRITTEN)
        return [text for text in said if self._words(text)]

    def _words(self, text: str) -> set[str]:
        left = self.typed.sub(" ", text)
        while MARKED.search(left):
            left = MARKED.sub(" ", left)
        return set(WORD.findall(CODE.sub(" ", left))) - SYMBOLS


@pytest.fixture(scope="module")
def ground(
    database: embedded.Server, redis_server: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Ground]:
    shop = open_workshop("North Bench")
    other = open_workshop("Mill Bench", coop=shop.coop)
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    fill(shop)
    told = [f"/batches/{everything_under(shop).batch.id}/working", without_one(shop)]
    told += [*pages_of(ids), *tell_more(shop, other), *_measured_otherwise(shop)]
    catalogue = tmp_path_factory.mktemp("marked")
    write_pseudo(catalogue)
    languages = [("en", "English"), (LANGUAGE, "Marked")]
    where = {"LANGUAGES": languages, "LOCALE_PATHS": [str(catalogue)]}
    with override_settings(**where, RATE_PER_MINUTE=1_000_000):
        rate.limit.cache_clear()
        client = _reads_marks(signed_in(shop))
        pages = list(all_pages(client, of_each=1, also=[*ASKED, *told]))
        pages += all_pages(_reads_marks(for_the_co_op(shop)), of_each=1)
        with psycopg.connect(database.url_admin) as admin:
            yield Ground(client, pages, _typed(admin, shop))
    rate.limit.cache_clear()


def _measured_otherwise(shop: Workshop) -> list[str]:
    """Goods that came by volume, and an order of what is counted."""
    oil = shop.material("Walnut oil", density="0.92 g/mL")
    jar = shop.material("Hinged jar", measured_by="count")
    lot = shop.receive(oil, "2 gal", "60.00")
    supplier = shop.does(add_supplier, name="Quay Glass")
    line = Ordered(str(jar.id), parse_quantity("300 each"), D(129))
    order = shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
    return [f"/lots/{lot.id}/working", f"/orders/{order.id}"]


def _reads_marks(client: Client) -> Client:
    client.defaults["HTTP_ACCEPT_LANGUAGE"] = LANGUAGE
    return client


def _typed(admin: psycopg.Connection[Any], shop: Workshop) -> re.Pattern[str]:
    """All that its co-op keeps in columns of free text, the longest first."""
    found: set[str] = set()
    unshown, rows = set().union(*marking.UNSHOWN.values()), marking.whose_rows(admin, shop)
    for model, column in marking.texts():
        table, name = model._meta.db_table, column.column
        if f"{table}.{name}" not in unshown:
            ids = [
                id for whose, some in rows.get(table, {}).items() for id in some if whose != ABROAD
            ]
            asked = sql.SQL("select distinct {} from {} where id = any(%s)")
            kept = admin.execute(asked.format(sql.Identifier(name), sql.Identifier(table)), [ids])
            found |= {text for (one,) in kept for text in _texts(one)}
    # These accounts are the program's own, and called so in its reader's language.
    found -= {name for _, name in STANDING}
    texts = sorted({" ".join(one.split()) for one in found if not ALONE.fullmatch(one)}, key=len)
    bounded = [rf"(?<!\w){re.escape(one)}(?!\w)" for one in texts if WORD.search(one)]
    return re.compile("|".join(reversed(bounded)))


def _texts(kept: Any) -> Iterator[str]:
    if isinstance(kept, str):
        yield kept
    elif isinstance(kept, dict):
        # What was said of a list is kept as it is translated.
        yield from _texts([one for name, one in kept.items() if name != "template"])
    elif isinstance(kept, list):
        for one in kept:
            yield from _texts(one)


def test_every_text_of_a_page_is_of_the_catalogue(ground: Ground) -> None:
    assert {one.route for one in ground.pages} == set(ROUTES)
    left = {one.path: ground.unmarked(one.text) for one in ground.pages if one.text}
    assert {path: texts for path, texts in left.items() if texts} == {}


def test_what_a_form_refuses_is_of_the_catalogue(ground: Ground) -> None:
    """Each is sent with a sign that is neither a figure nor a name; without a field, as it is."""
    forms = [form for one in ground.pages for form in read(one).forms]
    ways = {way.kind: way for form in forms for way in ways_of(form) if way.method == "post"}
    left, refused = {}, 0
    for way in ways.values():
        answer, *_ = answers(ground.client, way, way.told(**dict.fromkeys(way.by_hand, "?")))
        if "html" in answer.headers.get("Content-Type", ""):
            refused += answer.status_code == 422
            left[way.kind] = ground.unmarked(answer.content.decode())
    assert {kind: texts for kind, texts in left.items() if texts} == {}
    assert refused >= 60, refused


def test_a_word_of_no_catalogue_is_found(ground: Ground) -> None:
    assert ground.unmarked("<p>⟦Lot ⟧NB4 · Sunflower oil 0 · 2.5 kg</p>") == []
    for page in ("<p>⟦Lot ⟧NB4 is gone</p>", '<p title="gone">⟦a⟧</p>', "<td>status</td>"):
        assert len(ground.unmarked(page)) == 1, page
    assert marked("{n} of %(what)s: <b>all</b>") == "{n}⟦ of ⟧%(what)s: <b>⟦all⟧</b>"
