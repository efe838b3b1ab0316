"""A plan of hundreds of lines: each page of it is small, and all of it is written, or a file."""

import csv
import io
import re
from datetime import UTC, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import pytest
from django.test import Client

from api.pages import order_plans, plan_wishes
from formulas.order_planning import Ordering
from ledger.ids import new_id
from ledger.models import Material
from ledger.offer_reading import NO_TERMS, OfferOn
from ledger.order_advice import LineAdvice, Step
from ledger.order_bills import PlanLine, SupplierOrder
from ledger.order_plan import OrderPlan
from ledger.order_terms import Need, PackOffer, PackPrice
from tests.factories import TODAY, D, Workshop, open_workshop
from tests.pages.browsing import sent, signed_in
from tests.pages.looking import looked_at

LINES, SUPPLIERS, MOST_BYTES = 400, 8, 60_000
PLAN = f"/order/plan?until={datetime.now(UTC).date()}"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def long_plan() -> Ordering:
    """Four hundred lines of eight suppliers, each with a tip and a long name."""
    needs, offers, advice, orders = [], {}, [], []
    for supplier in range(SUPPLIERS):
        lines = []
        for number in range(LINES // SUPPLIERS):
            name = f"Hydrogenated rapeseed glycerides of grade {supplier} {number}"
            material = Material(id=new_id(), name=name, measured_by="mass")
            offer = _offer(material, f"Wholesale oils and waxes {supplier}")
            pack = PackOffer(
                offer.offer, supplier, material.id, D(5000), (PackPrice(1, D("40.25")),)
            )
            own = Step(3, D(15_000), D("120.75"), D(0), D(0), D(0), D(1), D(2))
            step = Step(4, D(20_000), D("161.00"), D(5000), D("40.25"), D(0), D(1), D(2))
            needs.append((material, Need(material.id, D(14_250))))
            offers[offer.offer] = offer
            advice.append(LineAdvice(pack, 3, (own, step), step))
            lines.append(PlanLine(pack, 3, D("40.25")))
        orders.append(SupplierOrder(supplier, tuple(lines), D("6037.50"), D(28)))
    plan = OrderPlan(tuple(orders), D(48_000), D(48_000), True, D(1))
    others = list(offers.values())[:SUPPLIERS]
    dearer = [SupplierOrder(one.supplier, (), D(6250), D(0)) for one in others]
    return Ordering(TODAY, tuple(needs), offers, plan, tuple(dearer), None, tuple(advice))


def _offer(material: Material, supplier: str) -> OfferOn:
    about: dict[str, Any] = {"counted": False, "entered": "5 kg", "breaks": (), "least_packs": 1}
    return OfferOn(
        offer=new_id(),
        supplier=new_id(),
        supplier_name=supplier,
        material=material.id,
        article_code="A-10442-5",
        pack=D(5000),
        price=D("40.25"),
        lead_time_days=7,
        measured=None,
        shelf_life_days=None,
        terms=NO_TERMS,
        **about,
    )


def test_every_page_of_a_long_plan_is_small(shop: Workshop) -> None:
    client, plan = signed_in(shop), long_plan()
    with patch.object(plan_wishes, "plan_orders", lambda *told, **named: plan):
        pages = [looked_at(client, f"{PLAN}&page={number}") for number in range(10)]
        last = looked_at(client, f"{PLAN}&page=99")
        table = client.get(f"{PLAN}&as=csv").content.decode("utf-8-sig")
        packed = written_by(client, pages[3].text)
    assert [page.size for page in pages if page.size > MOST_BYTES] == []
    shown = [re.findall(r"glycerides of grade (\d+ \d+)", page.text) for page in pages]
    every = [f"{one} {number}" for one in range(SUPPLIERS) for number in range(50)]
    assert [name for names in shown for name in names] == every
    assert "page=9" in pages[8].text
    assert "page=10" not in pages[9].text
    assert "grade 7 49" in last.text
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [Decimal(row["Packs"]) for row in rows] == [3] * LINES
    assert packed == [(offer.hex, 3, D("120.75")) for offer in plan.offers]


def written_by(client: Client, page: str) -> list[tuple[str, int, Decimal]]:
    """What is written down when the form of one of the pages is sent."""
    (lines,) = re.findall(r'name="lines" value="([^"]+)"', page)
    found: list[tuple[str, int, Decimal]] = []

    def write(actor: Any, *, chosen: Any, **named: Any) -> list[Any]:
        found.extend((one.offer, one.packs, one.amount) for one in chosen)
        return [SimpleNamespace(id=new_id())] * SUPPLIERS

    with patch.object(order_plans, "write_planned", write):
        answer = sent(client, "/order/plan", lines=lines, note="")
    assert (answer.status_code, answer["Location"]) == (303, "/orders")
    return found


@pytest.mark.parametrize("lines", ["x", "eJw=", "eJyLVspTitVRSgdSxUAqFgAmfQQ8"])
def test_lines_that_no_page_gave_are_refused(shop: Workshop, lines: str) -> None:
    assert sent(signed_in(shop), "/order/plan", lines=lines, note="").status_code == 400
