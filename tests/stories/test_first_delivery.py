"""A maker's first week: a delivery in gallons, its release, a sample, a sale, and one mistake.

The figures of the delivery are a worked example, recomputed by hand: 4 US gal at 1.26 g/mL weigh
4 * 3785.411784 * 1.26 = 19,078.475391 g; freight goes by mass and the tax by value.
"""

from decimal import Decimal
from uuid import UUID

import pytest

from ledger.access import acting_as
from ledger.catalogue import MaterialFacts, add_material, add_supplier
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.errors import LotNotReleased, NotEnough, UsedSince
from ledger.issuing import Taken, issue, sell, take_back
from ledger.lots import decide
from ledger.models import Lot
from ledger.quantities import parse_density, parse_quantity
from ledger.receiving import Delivered, Received, receive
from tests.ledger.bench import open_bench
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


def tuesday_s_release(books: Books, delivery: Received) -> None:
    """Nothing may be sold from quarantine; the certificates are read, and then it may."""
    humectant, powder, _ = delivery.lots
    with pytest.raises(LotNotReleased), acting_as(books.actor):
        sell(books.actor, lines=grams(humectant, "1 kg"), customer="shop 7", happened_at=ago(4))
    with acting_as(books.actor):
        for lot in (humectant, powder):
            decide(books.actor, lot=lot.id, decision="release", basis="certificate seen")


def wednesday_s_sale(books: Books, humectant: Lot) -> UUID:
    """A shop takes two and a half kilograms, and 100 mL go out as a sample."""
    actor, day = books.actor, ago(3)
    sample, fair = grams(humectant, "100 mL"), "for the fair"
    with acting_as(actor):
        sale = sell(actor, lines=grams(humectant, "2.5 kg"), customer="shop 7", happened_at=day)
        given = issue(actor, lines=sample, purpose="sample", reason=fair, happened_at=day)
    assert sale.value == D("28.864990")
    assert given.measured[0].quantity == D(126)
    assert books.held(humectant)[0] == D("16452.475391")
    return sale.posted.entry_id


def thursday_s_return(books: Books, sale: UUID, humectant: Lot) -> None:
    """The shop brings 500 g back, at what they had cost."""
    with acting_as(books.actor):
        returned = take_back(
            books.actor,
            sale=sale,
            lines=grams(humectant, "500 g"),
            reason="wrong grade",
            happened_at=ago(2),
        )
    assert returned.value == D("5.772998")


def friday_s_mistake(books: Books, powder: Lot) -> UUID:
    """A spill is typed with zeros too many; it is undone by a reversal, never by an edit."""

    def spill(text: str) -> UUID:
        with acting_as(books.actor):
            return issue(
                books.actor,
                lines=grams(powder, text),
                purpose="spill",
                reason="a torn bag",
                happened_at=ago(1),
            ).posted.entry_id

    with pytest.raises(NotEnough, match="Only 10000 g of the lot NB2 is left"):
        spill("50 kg")
    wrong = spill("5 kg")
    books.reverse(wrong)
    spill("5 g")
    assert books.held(powder) == (9995, D("109.585180"))
    return wrong


def test_a_week_with_a_first_delivery() -> None:
    books = Books(bench=open_bench("North Bench"))
    delivery = monday_s_delivery(books)
    humectant, powder, _ = delivery.lots
    costs = [line.landed_cost for line in delivery.landed]
    assert costs == [D("220.28"), D("109.64"), D("82.38")]
    assert round(delivery.landed[0].unit_cost, 4) == D("11.5460")
    assert books.held(humectant) == (D("19078.475391"), D("220.28"))

    tuesday_s_release(books, delivery)
    sale = wednesday_s_sale(books, humectant)
    thursday_s_return(books, sale, humectant)
    wrong = friday_s_mistake(books, powder)

    # The delivery can no longer be undone: it has been used, and it is said by which entries.
    with pytest.raises(UsedSince) as refused:
        books.reverse(delivery.entry_id)
    assert str(sale) in refused.value.facts["entries"]
    assert str(wrong) not in refused.value.facts["entries"]

    # On Saturday every cent of 412.30 is somewhere.
    places = ["store", "sales", "sample", "loss"]
    assert sum(books.held(lot, at)[1] for lot in delivery.lots for at in places) == D("412.30")
    assert books.disagreements() == []
