"""A search that finds nothing tells what is spelled nearly so, of what the maker may see."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote_plus

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.pages import formulas
from ledger.catalogue import add_supplier
from ledger.errors import Invalid
from ledger.finding import material_named
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import shown, signed_in

NEARLY = "Spelled nearly so"
PAGES = ("materials", "suppliers", "formulas", "lots", "products")
# Written down, typed with a letter wrong, without the accents, and the other way round.
CALLED = ("Crème de glycérine", "creme glicérine", "creme de glycerine", "glycérine crème")


@dataclass(frozen=True)
class Two:
    """A maker with one thing of each kind, and another co-op that has things of its own."""

    own: Workshop
    other: Workshop
    ids: Mapping[str, Any]


def filled(shop: Workshop, name: str) -> dict[str, Any]:
    material = shop.material(name)
    shop.receive(material, "1 kg", "10")
    version = shop.formula(name, [(material, "100")])
    shop.product(version, "30 g")
    return {
        "materials": material.id,
        "suppliers": shop.does(add_supplier, name=name).id,
        "formulas": version.formula_id,
    }


@pytest.fixture(scope="module")
def two(database: Any, redis_server: Any) -> Two:
    own, other = open_workshop(), open_workshop("Mill Bench")
    ids = filled(own, CALLED[0])
    filled(other, "Juniper spirit")
    return Two(own, other, ids)


@pytest.fixture
def client(two: Two) -> Client:
    return signed_in(two.own)


def looked(client: Client, page: str, q: str) -> Any:
    return client.get(f"/{page}?q={quote_plus(q)}")


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("typed", CALLED[1:3])
def test_what_is_nearly_so_is_told_and_led_to(
    two: Two, client: Client, page: str, typed: str
) -> None:
    answer = looked(client, page, typed)
    assert NEARLY in shown(answer)
    by_name = "/lots?gone=on&amp;q=" if page == "lots" else f"/{page}?q="
    to = f"/{page}/{two.ids[page]}" if page in two.ids else f"{by_name}Cr%C3%A8me"
    assert to in answer.content.decode()
    assert NEARLY not in shown(looked(client, page, "wholly another"))


@pytest.mark.parametrize("page", PAGES)
def test_words_may_stand_in_any_order(client: Client, page: str) -> None:
    seen = shown(looked(client, page, CALLED[3]))
    assert CALLED[0] in seen
    assert NEARLY not in seen


def test_the_suggestion_for_lots_finds_them(client: Client) -> None:
    assert CALLED[0] in shown(client.get(f"/lots?gone=on&q={quote_plus(CALLED[0])}"))


@pytest.mark.parametrize("page", PAGES)
def test_nothing_of_another_co_op_is_told(two: Two, client: Client, page: str) -> None:
    typed = "junipre spirit"
    assert "Juniper spirit" in shown(looked(signed_in(two.other), page, typed))
    assert "Juniper spirit" not in shown(looked(client, page, typed))


@pytest.mark.parametrize("page", PAGES)
def test_it_is_one_query_more(client: Client, page: str) -> None:
    def queries(q: str) -> int:
        with CaptureQueriesContext(connection) as counted:
            looked(client, page, q)
        return len(counted)

    assert queries(CALLED[1]) <= queries(CALLED[3]) + 1


def test_a_material_typed_nearly_right_is_named(two: Two) -> None:
    with pytest.raises(Invalid) as refused:
        two.own.does(material_named, CALLED[1])
    assert f"Spelled nearly so: {CALLED[0]}, {CALLED[0]} 30 g." in refused.value.detail
    with pytest.raises(Invalid) as refused:
        two.own.does(material_named, "Junipre spirit")
    assert "add it first" in refused.value.detail
    assert "Juniper spirit" not in refused.value.detail


def test_formulas_go_on_page_by_page(client: Client, two: Two, monkeypatch: Any) -> None:
    for number in range(3):
        two.own.formula(f"Paged {number}", [(two.own.material(f"Base {number}"), "100")])
    monkeypatch.setattr(formulas, "MOST", 2)
    first = client.get("/formulas?q=paged")
    assert "Paged 1" in shown(first)
    assert "Paged 2" not in shown(first)
    assert 'href="/formulas?q=paged&amp;page=1"' in first.content.decode()
    last = client.get("/formulas?q=paged&page=1")
    assert "Paged 2" in shown(last)
    assert "Paged 1" not in shown(last)
    assert "page=2" not in last.content.decode()
