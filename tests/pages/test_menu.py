"""Which place of the menu every page belongs to, so that one sees where one is."""

import re
from typing import Any

import pytest
from django.test import Client

from api.pages.places import LOOK, OF_COOP, PLACES, belongs_to
from api.pages.urls import urlpatterns
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import signed_in

MAKERS = [(path, name) for path, name, _verb in PLACES]
# What is no page with a menu, or stands before all places.
NONE = {"", "documents", "makers", "sign-in", "sign-out"}


@pytest.fixture(scope="module")
def client(database: Any, redis_server: Any) -> Client:
    shop: Workshop = open_workshop()
    return signed_in(shop)


def marked(client: Client, path: str) -> list[tuple[str, str]]:
    page = client.get(path).content.decode()
    (menu, *_) = re.findall(r"<nav.*?</nav>", page, re.DOTALL)
    return re.findall(r'href="([^"]*)" aria-current="([^"]*)"', menu)


def test_every_page_belongs_to_a_place_of_the_menu() -> None:
    first = {re.split(r"[/<]", str(one.pattern))[0] for one in urlpatterns}
    there = {path for path, _name in MAKERS} | {LOOK}
    lost = {one for one in first if belongs_to(f"/{one}/x", MAKERS) not in there}
    assert lost == NONE


def test_what_the_co_op_alone_looks_after_belongs_to_its_own_places() -> None:
    for path in ("/order/plan", "/settlement/worked-out", "/suppliers/x/terms", "/order-rounds/x"):
        assert path.startswith(belongs_to(path, OF_COOP))
    assert belongs_to("/order", MAKERS) == "/order"


def test_a_page_marks_its_place_and_the_place_itself_is_the_page(client: Client) -> None:
    assert marked(client, "/lots") == [("/lots", "page")]
    assert marked(client, "/counts") == [("/lots", "true")]
    assert marked(client, "/order/plan") == [("/order", "true")]
    assert marked(client, "/password") == [("/look", "true")]
    assert marked(client, "/") == [("/", "page")]
