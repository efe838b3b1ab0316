"""A whole number may be written by hand with thousands of digits, of which Python makes none."""

import pytest
from django.test import Client

from api.pages.forms import WholeField
from api.pages.whole_numbers import page_in, whole_in
from tests.factories import Workshop
from tests.pages.browsing import refused, sent, typed_in

NINES = "9" * 5_000


@pytest.mark.parametrize(
    "path",
    [
        *("/formulas?page=", "/materials?page=", "/order?page=", "/receipts?page="),
        *("/order/plan?needs=", "/order/plan?needs=1&page="),
    ],
)
def test_an_address_may_have_it(client: Client, path: str) -> None:
    assert client.get(path + NINES).status_code == 200


@pytest.mark.parametrize(
    ("path", "name"), [("/receive", "lines"), ("/formulas/new", "lines"), ("/orders/new", "lines")]
)
def test_a_form_may_have_it(client: Client, path: str, name: str) -> None:
    assert sent(client, path, **{name: NINES}).status_code == 422


def test_so_may_the_version_of_a_product(shop: Workshop, client: Client) -> None:
    oil = shop.material("Jojoba oil")
    product = shop.product(shop.formula("Jojoba", [(oil, "100")]), "50 g")
    path = f"/products/{product.id}/edit"
    typed = {**typed_in(client, path, "version"), "version": NINES}
    assert "changed" in refused(client, path, **typed)


def test_zeros_before_it_say_nothing() -> None:
    assert WholeField().clean("0" * 5_000 + "12") == 12


@pytest.mark.parametrize(
    ("text", "number"), [("", 1), ("7", 7), ("20", 20), ("21", 20), ("-3", 1), (NINES, 20)]
)
def test_it_is_so_many_at_most(text: str, number: int) -> None:
    assert whole_in(text, 20, otherwise=1) == number


def test_the_first_page_is_shown_where_none_is_asked_for() -> None:
    assert [page_in(text) for text in ("", "two", "2", NINES)] == [0, 0, 2, 1000]
