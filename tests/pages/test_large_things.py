"""No page asks more, or is too large, when one thing has many rows: lines, lots, sales, weighings.

What is many things in a list is seen elsewhere; here one formula has forty lines, its batch as
many weighings, its lot as many buyers, and so on.
"""

from datetime import UTC, datetime, timedelta
from typing import Any, Final

import pytest

from formulas.complaints import add_fact, log_complaint
from formulas.filling import fill
from formulas.standards import set_formula_standard, set_product_standard
from formulas.unit_weighings import Weighed, choose_rule, units_of_fill, weigh_units
from ledger.catalogue import add_supplier
from ledger.consigning import consign
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.counting import Chosen, Read, lines_of, open_sheet, read_lots
from ledger.decanting import Drawn, decant
from ledger.documents import attach_document
from ledger.issuing import Taken, sell
from ledger.models import Lot, Material
from ledger.offering import PriceFacts, add_offer
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from ledger.recall_records import open_recall
from ledger.receiving import Delivered, receive
from ledger.sharing import open_share
from tests.api.files import pdf
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.ordering_together import opened, pledged
from tests.pages.browsing import signed_in
from tests.pages.looking import ROUTES, looked_at
from tests.pages.opening import figures_of_all
from tests.pages.unopened import AT_WORK, UNOPENED, without_reason

NOON: Final = MORNING + timedelta(hours=4)
FEW, MANY = 3, 40
MOST_BYTES: Final = 60_000


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_no_page_grows_with_the_rows_of_one_thing(shop: Workshop) -> None:
    client = signed_in(shop)
    few, many = (pages_of(large(shop, rows)) for rows in (FEW, MANY))
    assert few.keys() == many.keys()
    seen = {
        page: (looked_at(client, few[page]), looked_at(client, path)) for page, path in many.items()
    }
    assert [page for page, both in seen.items() if {one.status for one in both} != {200}] == []
    asked = {page: (one.queries, other.queries) for page, (one, other) in seen.items()}
    assert [(page, one, other) for page, (one, other) in asked.items() if other > one] == []
    found = figures_of_all(other for _, other in seen.values())
    assert without_reason(found, UNOPENED, AT_WORK) == []
    assert [(page, many.size) for page, (_, many) in seen.items() if many.size > MOST_BYTES] == []


def pages_of(ids: dict[str, Any]) -> dict[str, str]:
    """The pages of these things, by what they are of."""
    found = {}
    for name, id in ids.items():
        kind = name.partition(" ")[0]
        for route in ROUTES:
            if "<" in route and route.split("/")[1] == kind:
                found[f"{name}: {route}"] = route.replace("<uuid:id>", str(id))
    return found


def large(shop: Workshop, rows: int) -> dict[str, Any]:
    """Things of so many rows each, by their kind."""
    oils = [
        shop.material(f"Oil {n} of {rows}", inci_name=f"Oil {n}", density="0.92 g/mL")
        for n in range(rows)
    ]
    received = delivered(shop, oils)
    parts = [D(2)] * (rows - 1) + [100 - D(2) * (rows - 1)]
    lines = [(oil, str(part)) for oil, part in zip(oils, parts, strict=True)]
    version = shop.formula(f"Balm of {rows}", lines, density="0.9 g/mL")
    for n in range(rows // 3):
        version = shop.next_version(version, lines, loss=str(n + 1))
    jars = [shop.material(f"Part {n} of {rows}", measured_by="count") for n in range(rows // 3)]
    for jar in jars:
        shop.receive(jar, "1000 each", "10.00")
    product = shop.product(version, "30 g", [(jar, "1 each") for jar in jars])
    made, planned = shop.plan(version, "2 kg"), shop.plan(version, "1 kg")
    shop.weigh_all(made)
    finished = shop.finish(made, "1800 g")
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=TODAY)
    shop.does(set_product_standard, product=product.id, valid_from=TODAY)
    return {
        "receipts": received.receipt.id,
        "materials of a line": oils[0].id,
        "materials delivered": bought_often(shop, rows),
        "formulas": version.formula_id,
        "products": product.id,
        "batches finished": made.batch.id,
        "batches planned": planned.batch.id,
        "lots made": finished.lot.id,
        "lots of a line": received.lots[0].id,
        "fills": filled(shop, product.id, finished.lot, rows),
        "suppliers": received.receipt.supplier_id,
        "counts": counted(shop, oils),
        "complaints": complained(shop, finished.lot, rows),
        **ordered(shop, oils),
        **gone(shop, rows),
    }


def delivered(shop: Workshop, oils: list[Material]) -> Any:
    """One delivery of all of them, each offered by its supplier, too."""
    supplier = shop.does(add_supplier, name=f"Bulk oils of {len(oils)}")
    lines = [
        Delivered(
            material=str(oil.id),
            supplier_lot=f"A {n}",
            quantity=parse_quantity("10 kg"),
            price=D("50.00"),
        )
        for n, oil in enumerate(oils)
    ]
    kinds = (ChargeKind.FREIGHT, ChargeKind.DUTY)
    charges = [Charge(kind, D("20.00"), SpreadBy.MASS) for kind in kinds]
    about = {"release_basis": "certificate seen", "happened_at": MORNING}
    received = shop.does(receive, supplier=supplier.id, lines=lines, charges=charges, **about)
    for oil in oils:
        pack, price = parse_quantity("5 kg"), PriceFacts(TODAY, D("25.00"))
        shop.does(add_offer, supplier=supplier.id, material=oil.id, pack=pack, price=price)
    return received


def bought_often(shop: Workshop, rows: int) -> Any:
    """A material with so many lots of as many suppliers, each of which offers it."""
    wax = shop.material(f"Wax bought {rows} times")
    for n in range(rows):
        shop.receive(wax, "1 kg", f"{6 + n % 3}.00", at=MORNING - timedelta(days=n))
        supplier = shop.does(add_supplier, name=f"Waxes {n} of {rows}")
        pack, price = parse_quantity("1 kg"), PriceFacts(TODAY, D("5.00") + n % 4)
        shop.does(add_offer, supplier=supplier.id, material=wax.id, pack=pack, price=price)
    return wax.id


def filled(shop: Workshop, product: Any, bulk: Lot, rows: int) -> Any:
    """Forty pieces, of which so many were weighed."""
    shop.does(choose_rule, product=product, rule="eu", allowed=None)
    done = shop.does(fill, product=product, lot=bulk.id, units=MANY, happened_at=MORNING)
    weighed = [Weighed(net=parse_quantity(f"30.{n % 4} g")) for n in range(rows)]
    of = shop.does(lambda actor: units_of_fill(actor, done.filling.id))
    shop.does(weigh_units, of=of, weighed=weighed, happened_at=MORNING, now=MORNING)
    return done.filling.id


def counted(shop: Workshop, oils: list[Material]) -> Any:
    """A sheet of all of them, each read, most of them far from the books."""
    sheet = shop.does(open_sheet, chosen=Chosen(materials=[oil.id for oil in oils]), now=NOON)
    lots = [line.lot_id for line in shop.does(lambda actor: list(lines_of(sheet)))]
    for hour in (1, 2):
        at = NOON + timedelta(hours=hour)
        read = [Read(lot, quantity=parse_quantity("1 kg")) for lot in lots]
        shop.does(read_lots, sheet=sheet.id, readings=read, happened_at=at, now=at)
    return sheet.id


def complained(shop: Workshop, lot: Lot, rows: int) -> Any:
    days = {"received_on": TODAY, "today": TODAY}
    told = {"what_happened": "a rash", "adverse": True, "batch_code": lot.code}
    made = shop.does(log_complaint, **days, **told, customer="Quay shop")
    for n in range(rows):
        about = {"kind": "note", "text": f"told again, {n}", "on": TODAY, "today": TODAY}
        shop.does(add_fact, complaint=made.id, **about)
    return made.id


def ordered(shop: Workshop, oils: list[Material]) -> dict[str, Any]:
    """An order of all of them, and a round in which all are pledged for."""
    supplier = shop.does(add_supplier, name=f"Bulk oils ordered of {len(oils)}")
    lines = [Ordered(str(oil.id), parse_quantity("5 kg"), D("25.00")) for oil in oils]
    order = shop.does(write_order, supplier=supplier.id, lines=lines, happened_at=MORNING)
    now = datetime.now(UTC)
    round = opened(shop, now=now, closes_at=now + timedelta(days=1))
    for oil in oils:
        pledged(shop, round, oil, "2 kg", now=now)
    return {"orders": order.id, "order-rounds": round.id}


def gone(shop: Workshop, rows: int) -> dict[str, Any]:
    """A lot that is sold to many, on consignment at many, drawn off for many, and recalled."""
    honey = shop.material(f"Honey of {rows}")
    lot, drum = (shop.receive(honey, "50 kg", "300.00") for _ in range(2))
    for n in range(rows):
        taken, about = [Taken(lot.id, parse_quantity("100 g"))], {"happened_at": NOON}
        shop.does(sell, lines=taken, customer=f"Stall {n}", **about)
        shop.does(consign, shop=f"Shop {n}", lines=taken, **about)
    for n in range(min(rows, 5)):
        paper = {"kind": "coa", "content": pdf(f"certificate {n}"), "name": f"{n}.pdf"}
        shop.does(attach_document, lot=lot.id, **paper)
    share = shop.does(open_share, lot=lot.id, happened_at=MORNING)
    draws = [Drawn(parse_quantity("1 kg")) for _ in range(rows)]
    drawn = shop.does(decant, lot=drum.id, draws=draws, happened_at=NOON)
    recall = shop.does(open_recall, lot=lot.id, reason="mould", happened_at=NOON)
    return {
        "lots sold": lot.id,
        "lots drawn off": drum.id,
        "decantings": drawn.decanting.id,
        "shares": share.id,
        "recalls": recall.id,
    }
