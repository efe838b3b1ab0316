"""A maker's first week: a delivery in gallons, its release, a sample, a sale, and one mistake.

The figures of the delivery are a worked example, recomputed by hand: 4 US gal at 1.26 g/mL weigh
4 * 3785.411784 * 1.26 = 19,078.475391 g; freight goes by mass and the tax by value.
"""

from decimal import Decimal

import pytest

from ledger.access import acting_as
from ledger.catalogue import MaterialFacts, add_material, add_supplier
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.entries import reverse_entry
from ledger.errors import LotNotReleased, NotEnough, UsedSince
from ledger.issuing import Taken, issue, sell, take_back
from ledger.lots import decide
from ledger.models import Lot
from ledger.quantities import parse_density, parse_quantity
from ledger.receiving import Delivered, Received, receive
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def monday_s_delivery(books: Books) -> Received:
    """Humectant by the gallon, powder and wax by the kilogram, freight and a tax not given back."""
    actor = books.actor
    with acting_as(actor):
        humectant = add_material(
            actor,
            MaterialFacts("Propanediol", "mass", density=parse_density("1.26 g/mL", "20 degC")),
        )
        powder = add_material(actor, MaterialFacts("Allantoin", "mass"))
        wax = add_material(actor, MaterialFacts("Cera Alba", "mass"))
        supplier = add_supplier(actor, name="a supplier of raw materials")
    lines = [
        Delivered(str(humectant.id), "H-118", parse_quantity("4 gal"), D("186.00")),
        Delivered(str(powder.id), "P-7", parse_quantity("10 kg"), D("92.00")),
        Delivered(str(wax.id), "W-31", parse_quantity("5 kg"), D("72.00")),
    ]
    charges = [
        Charge(ChargeKind.FREIGHT, D("41.30"), SpreadBy.MASS),
        Charge(ChargeKind.TAX, D("21.00"), SpreadBy.VALUE),
    ]
    with acting_as(actor):
        return receive(
            actor,
            supplier=supplier.id,
            lines=lines,
            charges=charges,
            happened_at=ago(5),
            reference="delivery note 411",
        )


def grams(lot: Lot, text: str) -> list[Taken]:
    return [Taken(lot.id, parse_quantity(text))]


def test_a_week_with_a_first_delivery() -> None:
    books = Books(bench=open_bench("North Bench"))
    actor = books.actor

    # Monday: the drums come in, and freight and tax are in their cost to the cent.
    delivery = monday_s_delivery(books)
    humectant, powder, _ = delivery.lots
    assert [line.landed_cost for line in delivery.landed] == [
        D("220.28"),
        D("109.64"),
        D("82.38"),
    ]
    assert round(delivery.landed[0].unit_cost, 4) == D("11.5460")
    assert books.held(humectant) == (D("19078.475391"), D("220.28"))

    # Tuesday: nothing may be sold from quarantine; the certificate is read, and then it may.
    with pytest.raises(LotNotReleased), acting_as(actor):
        sell(actor, lines=grams(humectant, "1 kg"), customer="shop 7", happened_at=ago(4))
    with acting_as(actor):
        for lot in (humectant, powder):
            decide(actor, lot=lot.id, decision="release", basis="certificate and smell agree")

    # Wednesday: a shop takes two and a half kilograms, a customer gets a sample of 100 mL.
    with acting_as(actor):
        sale = sell(actor, lines=grams(humectant, "2.5 kg"), customer="shop 7", happened_at=ago(3))
        sample = issue(
            actor,
            lines=grams(humectant, "100 mL"),
            purpose="sample",
            reason="for the fair",
            happened_at=ago(3),
        )
    assert sale.value == D("28.864990")
    assert sample.measured[0].quantity == 126
    assert books.held(humectant)[0] == D("16452.475391")

    # Thursday: the shop brings 500 g back, at what they had cost.
    with acting_as(actor):
        returned = take_back(
            actor,
            sale=sale.posted.entry_id,
            lines=grams(humectant, "500 g"),
            reason="wrong grade",
            happened_at=ago(2),
        )
    assert returned.value == D("5.772998")

    # Friday: a spill was typed with a zero too many. It is undone by a reversal, never by an edit.
    with pytest.raises(NotEnough, match="Only 10000 of this lot is left"), acting_as(actor):
        issue(actor, lines=grams(powder, "50 kg"), purpose="spill", reason="", happened_at=ago(1))
    with acting_as(actor):
        spill = issue(
            actor, lines=grams(powder, "5 kg"), purpose="spill", reason="", happened_at=ago(1)
        )
        reverse_entry(actor, entry=spill.posted.entry_id, reason="it was 5 g", happened_at=now())
        issue(actor, lines=grams(powder, "5 g"), purpose="spill", reason="", happened_at=now())
    assert books.held(powder) == (9995, D("109.585180"))

    # The delivery itself can no longer be undone: it has been used, and the entries say where.
    with pytest.raises(UsedSince) as refused, acting_as(actor):
        reverse_entry(actor, entry=delivery.entry_id, reason="wrong supplier", happened_at=now())
    assert str(sale.posted.entry_id) in refused.value.facts["entries"]
    assert str(spill.posted.entry_id) not in refused.value.facts["entries"]

    # Saturday: every gram and every cent of 412.30 is somewhere.
    lots = delivery.lots
    places = ["store", "sales", "sample", "loss"]
    assert sum(books.held(lot, place)[1] for lot in lots for place in places) == D("412.30")
    assert books.disagreements() == []
