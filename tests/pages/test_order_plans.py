"""What to buy on its page: advice with its totals, needs that are typed, and what runs low."""

import re
from datetime import UTC, date, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client

from ledger.access import acting_as
from ledger.alerts import look_at, set_watch
from ledger.catalogue import add_supplier
from ledger.models import Material, Membership, OnOrder, Supplier
from ledger.offering import BreakFacts, PriceFacts, TermsFacts, add_offer, set_supplier_terms
from ledger.quantities import parse_quantity
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import in_role, sent, shown, signed_in
from tests.pages.figures import opened
from tests.pages.test_rounds import for_the_co_op

LONG_AGO = date(2025, 1, 1)
STEPS = {"25 kg": "4.60", "50 kg": "4.10", "75 kg": "3.80"}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def seller(shop: Workshop, name: str, **terms: Any) -> Supplier:
    supplier = shop.does(add_supplier, name=name)
    facts = TermsFacts(LONG_AGO, **terms)
    shop.does(set_supplier_terms, supplier=supplier.id, terms=facts, opened=True)
    return supplier


def offered(
    shop: Workshop, supplier: Supplier, material: Material, pack: str, price: PriceFacts
) -> None:
    shop.does(
        add_offer,
        supplier=supplier.id,
        material=material.id,
        pack=parse_quantity(pack),
        price=price,
        opened=True,
    )


@pytest.fixture(scope="module")
def clay(shop: Workshop) -> Material:
    """In packs of a kilogram at 5.20, and at 4.60, 4.10 and 3.80 from 25, 50 and 75 on; freight of
    28, none from 200 on. It keeps nine months."""
    material = shop.material("Kaolin by breaks")
    breaks = [BreakFacts(parse_quantity(least), D(price)) for least, price in STEPS.items()]
    price = PriceFacts(LONG_AGO, D("5.20"), breaks=breaks, shelf_life_days=274)
    mill = seller(shop, "Clay by the sack", freight_kind="flat", freight=D(28), free_from=D(200))
    offered(shop, mill, material, "1 kg", price)
    return material


def figures(answer: Any) -> str:
    """The words of a page, with plain spaces and signs."""
    return re.sub(r"\s+", " ", shown(answer)).replace("\N{MULTIPLICATION SIGN}", "x")


def asked(client: Client, **typed: str) -> Any:
    """The plan for one need that is typed."""
    row = {f"needs-0-{name}": text for name, text in typed.items()}
    return client.get("/order/plan", {"needs": "1", **row})


def link(answer: Any, words: str) -> str:
    """Where the link with these words leads."""
    text = re.sub(r"\s", " ", answer.content.decode())
    (found,) = re.findall(rf'<a [^>]*href="([^"]*)"[^>]*>{re.escape(words)}</a>', text)
    return unescape(found)


def test_the_advice_says_its_totals_and_is_taken_by_a_tap(shop: Workshop, clay: Material) -> None:
    """Of 38 kg 44 are planned for 202.40; 50 kg for 205.00 are 2.60 more than that, and 2.20 more
    than just 38 kg for 202.80."""
    client = signed_in(shop)
    need = {"material": clay.name, "quantity": "38 kg", "use_per_month": "6 kg"}
    page = asked(client, **need)
    told = figures(page)
    assert "44 x 1 kg" in told
    assert (
        "50 kg for 205.00 USD instead of 44 kg for 202.40 USD:"
        " 6 kg more than planned for 2.60 USD more. Lasting months: 8.3." in told
    )
    assert "Against just the need, 38 kg for 202.80 USD: 12 kg more for 2.20 USD." in told
    taken = client.get(link(page, "Take 50 kg"))
    told = figures(taken)
    assert "50 x 1 kg" in told
    assert "In all, with freight 205.00 USD" in told
    assert "instead of" not in told
    assert "44 x 1 kg" in figures(client.get(link(taken, "Just what is needed")))
    (lines,) = re.findall(r'name="lines" value="([^"]+)"', taken.content.decode())
    (to,) = re.findall(r'<form method="post" action="(/order/plan[^"]*)"', taken.content.decode())
    again = sent(client, unescape(to), lines=lines, note="x" * 201)
    assert again.status_code == 422
    assert f'value="{clay.name}"' in again.content.decode(), "what is needed is still there"
    assert "50 x 1 kg" in figures(again)
    assert sent(client, unescape(to), lines=lines, note="").status_code == 303
    with acting_as(shop.actor):
        assert OnOrder.objects.get(material=clay).quantity == 50_000


def test_a_need_is_typed_by_the_maker_and_by_the_coordinator(
    shop: Workshop, clay: Material
) -> None:
    oil = shop.material("Jojoba oil by the gallon", density="0.86 g/mL")
    slow = seller(shop, "Oils that take their time", freight_kind="none")
    offered(shop, slow, oil, "1 gal", PriceFacts(LONG_AGO, D(60), lead_time_days=10))
    day = datetime.now(UTC).date()
    client, run = signed_in(shop), for_the_co_op(shop)
    need = {"material": oil.name.upper(), "quantity": "7 L"}
    for browser, may_write in ((client, True), (run, False)):
        page = asked(browser, **need, by=str(day + timedelta(days=10)))
        assert "2 x 1 gal" in figures(page)
        assert ("Write these orders" in figures(page)) == may_write
    late = figures(asked(client, **need, by=str(day + timedelta(days=9))))
    assert "comes by the day on which it is needed" in late
    assert "No material is called" in figures(asked(client, material="Jojo", quantity="7 L"))
    assert "fl oz" in figures(asked(client, material=oil.name, quantity="7 oz"))
    # The coordinator has no batches, and types; a reader of the bench sees no offers.
    first = run.get("/order/plan")
    assert "For batches up to" not in figures(first)
    assert "/order/plan" in run.get("/").content.decode()
    assert in_role(shop, Membership.Role.BENCH).get("/order/plan?needs=2").status_code == 403
    more = client.get("/order/plan", {"needs": "2", "needs-0-material": oil.name, "do": "more"})
    assert 'name="needs-2-material"' in more.content.decode()
    assert f'value="{oil.name}"' in more.content.decode()


def test_what_runs_low_is_ordered_by_one_tap(shop: Workshop) -> None:
    """2 kg of 5 kg: 3 kg and a gram lift it above its point, in packs of 500 g that are seven."""
    wax, salt = shop.material("Wax that runs low"), shop.material("Salt that nobody offers")
    press = seller(shop, "Waxes by the block", freight_kind="none")
    offered(shop, press, wax, "500 g", PriceFacts(LONG_AGO, D(8)))
    for material, quantity in ((wax, "2 kg"), (salt, "1 kg")):
        shop.receive(material, quantity, "20")
        point = parse_quantity("5 kg")
        shop.does(set_watch, material=material.id, reorder_point=point)
        with acting_as(shop.actor):
            look_at(shop.coop.id, shop.actor.maker, material.id, now=datetime.now(UTC))
    client = signed_in(shop)
    today = client.get("/")
    assert f"/order/plan?material={wax.id}" in today.content.decode()
    assert "/orders/new?" not in today.content.decode()
    told = figures(client.get(f"/order/plan?material={wax.id}"))
    assert "7 x 500 g" in told
    assert "low, 2 kg left once all is made; warned at 5 kg; bought up to 5.001 kg" in told
    assert "a week's use above it" in told
    alone = client.get(f"/order/plan?material={salt.id}")
    assert "offered by nobody that is asked, so not in the plan: Salt" in figures(alone)
    without = client.get(f"/order/plan?material={wax.id}&without={press.id}")
    assert "so not in the plan: Wax that runs low" in figures(without)
    assert f"/orders/new?material={salt.id}" in alone.content.decode()
    # Its own page asks how much, whatever is lacking.
    some = client.get(link(client.get(f"/materials/{wax.id}"), "Order it"))
    assert 'value="Wax that runs low"' in some.content.decode()
    assert "required" not in figures(some)
    needs = client.get("/order")
    assert "Wax that runs low" in figures(needs)
    assert "3.001 kg" in figures(client.get(f"/order?material={wax.id}"))
    every = figures(client.get("/order/plan", {"until": str(datetime.now(UTC).date())}))
    assert "7 x 500 g" in every
    assert "offered by nobody" in every


def test_what_is_left_once_all_is_made_is_told_apart_from_what_is_counted_on(
    shop: Workshop,
) -> None:
    """By hand: of 1 kg of glycerin two batches of a tonic take 700 g each: -400 g to count on. The
    300 g of glycerite that each lacks besides are still to be planned, and take as much: -700 g are
    left once what today needs is made, and -1000 with what is made in forty days."""
    glycerin = shop.material("Glycerin by the jug")
    glycerite = shop.formula("Rosemary glycerite", [(glycerin, "100")])
    offered(shop, seller(shop, "Jugs"), glycerin, "500 g", PriceFacts(LONG_AGO, D(8)))
    shop.receive(glycerin, "1 kg", "20")
    tonic, today = shop.formula("Tonic", [(glycerin, "70"), (glycerite, "30")]), datetime.now(UTC)
    for days in (0, 40):
        shop.plan(tonic, "1 kg", planned_for=today.date() + timedelta(days=days))
    shop.does(set_watch, material=glycerin.id, reorder_point=parse_quantity("2 kg"))
    client, need = signed_in(shop), f"/materials/{glycerin.id}/need?figure="
    plan = client.get("/order/plan", {"material": str(glycerin.id), "until": str(today.date())})
    assert "low, -700 g left once all is made; warned at 2 kg" in figures(plan)
    (asked,) = re.findall(rf'href="({re.escape(need)}position[^"]*)"', plan.content.decode())
    told = {
        **{unescape(asked): -700, f"{need}position": -1000, f"{need}counted_on": -400},
        f"{need}position&until=2026-02-31": -1000,
    }
    for path, grams in told.items():
        working = opened(client, path)
        assert working.exact == grams, path
        assert working.adds_up, path
