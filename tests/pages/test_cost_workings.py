"""What a kilogram or a piece costs now, and would at another price, opens to lines that add up."""

import re
from typing import Any

import pytest
from django.test import Client

from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import signed_in
from tests.pages.figures import Shown, Told, all_of, amount_in, figures_of, opened, workings_of
from tests.pages.looking import looked_at

CENT, HALF_GRAM = D("0.01"), D("0.5")


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def made(shop: Workshop) -> dict[str, str]:
    """A cream of oil and of a phase of oil and wax that loses a fifth, packed in a jar."""
    oil, wax = shop.material("Jojoba"), shop.material("Rice wax")
    jar = shop.material("Jar", measured_by="count")
    shop.receive(oil, "3 kg", "100.00")
    shop.receive(wax, "1 kg", "30.00")
    shop.receive(jar, "30 each", "10.00")
    phase = shop.formula("Oil phase", [(oil, "60"), (wax, "40")], loss="20")
    cream = shop.formula("Cream", [(oil, "50"), (phase, "50")], loss="3")
    product = shop.product(cream, "30 g", [(jar, "1 each")], hourly_rate=D(20))
    return {
        "oil": str(oil.id),
        "jar": str(jar.id),
        "cream": str(cream.formula_id),
        "product": str(product.id),
    }


def assert_told(client: Client, one: Shown, near: Any = CENT) -> Told:
    """It opens to its own figure, and every figure in there that has parts is their sum."""
    assert one.to, one
    told = opened(client, one.to)
    assert abs(told.exact - amount_in(one.text)) <= near, one
    assert told.parts, one
    assert all(each.adds_up for each in all_of([told]) if each.parts), one
    return told


def test_every_cost_of_another_price_opens_now_and_then(
    shop: Workshop, made: dict[str, str]
) -> None:
    client = signed_in(shop)
    for asked in ("price=50", "change_percent=-10"):
        page = looked_at(client, f"/what-if?material={made['oil']}&margin_percent=60&{asked}")
        figures = list(figures_of(page.text))
        told = {one.to: assert_told(client, one) for one in figures}
        # A piece now, then, more, two prices; and a kilogram of both formulas now and then.
        assert len(figures) == 9, asked
        assert len({one.to for one in figures}) == 9
        names = {one.name for one in told.values()}
        assert {"A piece of Cream 30 g, then", "So much more"} <= names
    assert page.size < 60_000


def test_a_dearer_jar_is_told_by_the_piece(shop: Workshop, made: dict[str, str]) -> None:
    """Thirty for ten; then each for one."""
    path = f"/products/{made['product']}/cost?material={made['jar']}&price=1"
    told = opened(signed_in(shop), f"{path}&figure=more")
    assert told.exact == D("0.666667")
    then, less = told.parts
    jar = next(one for one in all_of([then]) if one.name == "Jar")
    assert jar.exact == 1
    assert less.exact < 0


def test_versions_beside_each_other_open_each_its_own_cost(
    shop: Workshop, made: dict[str, str]
) -> None:
    client = signed_in(shop)
    oil = shop.material("Squalane")
    wax = shop.material("Berry wax")
    shop.receive(oil, "1 kg", "40.00")
    shop.receive(wax, "1 kg", "10.00")
    first = shop.formula("Stick", [(oil, "50"), (wax, "50")])
    shop.next_version(first, [(oil, "25"), (wax, "75")])
    page = looked_at(client, f"/formulas/{first.formula_id}/versions")
    costs = [one for one in figures_of(page.text) if one.text.endswith("USD")]
    told = [assert_told(client, one) for one in costs]
    assert [one.exact for one in told] == [D(25), D("17.5")]
    assert [[part.exact for part in one.parts] for one in told] == [[20, 5], [10, D("7.5")]]


def test_the_cost_of_a_draft_unfolds(shop: Workshop, made: dict[str, str]) -> None:
    client = signed_in(shop)
    rows = {"lines-0-name": "Jojoba", "lines-0-percent": "50", "lines-0-amount": "fixed"}
    rows |= {"lines-1-name": "Rice wax", "lines-1-percent": "50", "lines-1-amount": "fixed"}
    about = {"name": "Draft", "process_loss_percent": "0", "lines": "2", "do": "look", **rows}
    page = client.post("/formulas/new", about, headers={"HX-Request": "true"}).content.decode()
    (told,) = workings_of(page)
    assert told.adds_up
    assert told.exact == D("31.666667")


def test_products_open_what_a_piece_costs(shop: Workshop, made: dict[str, str]) -> None:
    client = signed_in(shop)
    page = looked_at(client, "/products").text
    opens = set(re.findall(r'href="(/products/[^"]*/cost)"', page))
    assert f"/products/{made['product']}/cost" in opens
    for to in opens:
        assert all(one.adds_up for one in all_of([opened(client, to)]) if one.parts)


def test_what_a_size_needs_opens_and_adds_up(shop: Workshop, made: dict[str, str]) -> None:
    client = signed_in(shop)
    page = looked_at(client, f"/formulas/{made['cream']}?size=333 g").text
    told = {one.name: one for one in workings_of(page)}
    assert all(one.adds_up for one in told.values())
    needs = [one for one in figures_of(page) if one.to]
    by_hand = [one for one in needs if one.to == "#needed"]
    assert len(by_hand) == 3
    for one in by_hand:
        amounts = [each.exact for each in told.values()]
        assert any(abs(each - amount_in(one.text)) <= HALF_GRAM for each in amounts), one
    for one in needs:
        if one.to != "#needed":
            free = opened(client, one.to)
            assert free.adds_up
            assert abs(free.exact - amount_in(one.text)) <= HALF_GRAM, one
    assert sorted(len(opened(client, one.to).parts) for one in needs if "/free" in one.to) == [0, 1]
    assert told["Comes out"].exact == D("323.01")


def test_what_is_promised_is_not_at_hand(shop: Workshop, made: dict[str, str]) -> None:
    oil = shop.material("Camellia")
    lots = [shop.receive(oil, size, "9.00") for size in ("500 g", "700 g")]
    shop.receive(oil, "100 g", "1.00", release=None)
    shop.plan(shop.formula("Serum", [(oil, "100")]), "600 g")
    told = opened(signed_in(shop), f"/materials/{oil.id}/free")
    assert told.exact == 600
    assert [(one.name, one.exact) for one in told.parts] == [(lots[1].code, D(600))]


def test_what_pays_for_what_is_fixed_opens(shop: Workshop, made: dict[str, str]) -> None:
    asked = "channels=1&channels-0-name=Shop&channels-0-way=price&channels-0-figure=9.99"
    asked += "&cost_from=present&fixed=1000&batch_units=24&channels-0-fee_percent=3"
    page = looked_at(signed_in(shop), f"/products/{made['product']}/price?{asked}").text
    told = {one.name: one for one in workings_of(page)}
    pieces, batches = told["Shop: pieces that pay what is fixed"], told["Shop: batches of them"]
    assert pieces.adds_up
    assert pieces.exact == pieces.exact.to_integral()
    assert 0 <= pieces.parts[1].exact < 1
    assert 0 <= batches.exact * 24 - pieces.exact < 24
    assert page.count('href="#evens"') == 3
    shown = re.search(r'<a href="#evens">([0-9,]+) pieces?</a>', page)
    assert shown
    assert amount_in(shown[1]) == pieces.exact
    (left,) = (one for one in all_of([told["Shop"]]) if one.name == "Left")
    assert abs(pieces.parts[0].exact * left.exact - 1000) < CENT


def test_a_number_that_is_none_is_not_asked(shop: Workshop, made: dict[str, str]) -> None:
    client, path = signed_in(shop), f"/products/{made['product']}/cost"
    now = opened(client, path).exact
    for typed in ("price=x", "price=1e9", "price=%00", "change_percent=", "margin_percent=NaN"):
        assert opened(client, f"{path}?material={made['oil']}&{typed}").exact == now
    assert client.get(f"{path}?material={made['oil']}&change_percent=-101").status_code == 422
    assert client.get(f"{path}?margin_percent=100").status_code == 422


def test_the_worth_of_a_class_opens_by_its_materials(shop: Workshop) -> None:
    bench = open_workshop("Class Bench", coop=shop.coop)
    for name, price in (("Cocoa butter", "12.50"), ("Illipe butter", "30.00")):
        bench.receive(bench.material(name, cost_class="Butters"), "1 kg", price)
    client = signed_in(bench)
    page = looked_at(client, "/books/cost-formulas").text
    (one,) = (one for one in figures_of(page) if one.label.startswith("Butters"))
    told = assert_told(client, one)
    assert [(part.name, part.exact) for part in told.parts] == [
        ("Cocoa butter", D("12.5")),
        ("Illipe butter", D(30)),
    ]
    assert opened(client, "/books/class-worth?cost_class=%00none").exact == 0
