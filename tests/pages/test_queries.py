"""How many queries a page makes: few, and no more with more data; and how large a page is."""

import re
from typing import Any

import pytest

from ledger.access import acting_as
from ledger.models import Supplier
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import signed_in
from tests.pages.codes import bare_codes
from tests.pages.looking import ROUTES, SOON, all_pages, looked_at, slow
from tests.pages.opening import figures_of_all
from tests.pages.shops import everything_under, planned_ahead, work
from tests.pages.unopened import AT_WORK, UNOPENED, reasons_of, without_reason

MOST, MOST_BYTES = 15, 60_000
# Of each kind of page so many are looked at.
OF_EACH = 3


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def without_one(shop: Workshop) -> str:
    """A plan of orders that leaves a supplier out."""
    with acting_as(shop.actor):
        one = Supplier.objects.filter(coop_id=shop.coop.id).first()
    assert one is not None
    return f"/order/plan?{SOON}&without={one.id}"


def test_no_page_asks_much_or_more_with_more_data(shop: Workshop) -> None:
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    everything = everything_under(shop)
    client = signed_in(shop)
    also = [f"/batches/{everything.batch.id}/working", without_one(shop)]
    also += pages_of(ids)
    few = {one.path: one for one in all_pages(client, of_each=OF_EACH, also=also)}
    assert {one.route for one in few.values()} == set(ROUTES)
    assert [one.path for one in few.values() if one.status != 200] == []
    assert slow(few.values(), MOST) == []
    assert [(one.path, one.size) for one in few.values() if one.size > MOST_BYTES] == []
    assert {one.path: bare_codes(one.text) for one in few.values() if bare_codes(one.text)} == {}
    # What is typed on a page that renews itself would be lost; on this one nothing is.
    renewed = {one.route for one in few.values() if 'http-equiv="refresh"' in one.text}
    assert renewed == {"/sent-lists/<uuid:id>"}
    found = figures_of_all(few.values())
    assert without_reason(found, UNOPENED, AT_WORK) == []
    assert reasons_of(found, AT_WORK) == set(AT_WORK), "one is of no figure"
    for number in range(1, 10):
        work(shop, number)
        planned_ahead(shop, number)
    more = {path: looked_at(client, path) for path in few}
    assert [(path, n.queries) for path, n in more.items() if n.queries > few[path].queries] == []
    assert [(path, n.size) for path, n in more.items() if n.size > MOST_BYTES] == []


def pages_of(ids: dict[str, str]) -> list[str]:
    """The pages of these things; of a receipt there is a link."""
    kinds = {route: route.split("/")[1] for route in ROUTES if "<" in route}
    return [route.replace("<uuid:id>", ids[kind]) for route, kind in kinds.items() if kind in ids]


def test_a_ladder_asks_no_more_than_a_page_may(shop: Workshop) -> None:
    ids = work(shop, 20)
    asked = "channels=1&channels-0-name=Shop&channels-0-way=margin_percent&channels-0-figure=60"
    path = f"/products/{ids['products']}/price?{asked}&cost_from=present"
    client = signed_in(shop)
    assert "Margin against price" in client.get(path).content.decode()
    assert looked_at(client, path).queries <= MOST
    assert looked_at(client, f"/what-if?material={ids['materials']}&price=9").queries <= MOST


def test_a_plot_stands_beside_its_table(shop: Workshop) -> None:
    ids = work(shop, 21)
    shown = signed_in(shop).get(f"/batches/{ids['batches']}").content.decode()
    assert re.search(r'<figure class="plot"><svg [^>]*role="img"', shown)
    assert "<table>" in shown
