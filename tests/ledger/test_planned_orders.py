"""Orders written from a plan: what it showed, or nothing."""

from datetime import timedelta

import pytest

from ledger.catalogue import add_supplier
from ledger.errors import Conflict, Invalid, NotFound
from ledger.ids import new_id
from ledger.models import Offer, PurchaseOrder, PurchaseOrderLine
from ledger.offering import BreakFacts, PriceFacts, add_offer, reprice
from ledger.planned_orders import Chosen, write_planned
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture(scope="module")
def shop(database: object) -> Workshop:
    return open_workshop("North Bench")


def offered(shop: Workshop) -> Offer:
    """Packs of 5 kg at 40.00, and at 30.00 each from 25 kg on, a week after they are ordered."""
    steps = [BreakFacts(parse_quantity("25 kg"), D(30))]
    return shop.does(
        add_offer,
        supplier=shop.does(add_supplier, name="Bulk oils").id,
        material=shop.material("Oil").id,
        pack=parse_quantity("5 kg"),
        price=PriceFacts(TODAY, D(40), breaks=steps, lead_time_days=7),
    )


def lines(shop: Workshop, order: PurchaseOrder) -> list[PurchaseOrderLine]:
    return shop.does(lambda _: list(order.lines.order_by("position")))


def test_an_order_for_each_supplier(shop: Workshop) -> None:
    one, other = offered(shop), offered(shop)
    chosen = [Chosen(str(one.id), 5, D("150.00")), Chosen(str(other.id), 1, D("40.00"))]
    written = shop.does(write_planned, chosen=chosen, happened_at=MORNING, note="by van")
    assert [order.supplier_id for order in written] == [one.supplier_id, other.supplier_id]
    (line,) = lines(shop, written[0])
    assert (line.packs, line.quantity, line.price) == (5, D(25_000), D(150))
    assert line.expected_on == TODAY + timedelta(days=7)
    assert written[0].note == "by van"


def test_a_price_that_has_changed_writes_nothing(shop: Workshop) -> None:
    one, other = offered(shop), offered(shop)
    shop.does(reprice, offer=other.id, price=PriceFacts(TODAY, D(41)))
    before = shop.does(lambda _: PurchaseOrder.objects.count())
    chosen = [Chosen(str(one.id), 1, D("40.00")), Chosen(str(other.id), 1, D("40.00"))]
    with pytest.raises(Conflict, match="plan anew"):
        shop.does(write_planned, chosen=chosen, happened_at=MORNING)
    assert shop.does(lambda _: PurchaseOrder.objects.count()) == before


def test_what_cannot_be_written(shop: Workshop) -> None:
    with pytest.raises(Invalid):
        shop.does(write_planned, chosen=[], happened_at=MORNING)
    chosen = [Chosen(str(new_id()), 1, D(1))]
    with pytest.raises(NotFound) as refused:
        shop.does(write_planned, chosen=chosen, happened_at=MORNING)
    assert refused.value.pointer == "/lines/0/offer"
