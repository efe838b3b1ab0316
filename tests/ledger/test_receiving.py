"""Receiving a delivery: what is measured, what it costs on the shelf, and what is refused."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.errors import (
    CountNotWhole,
    DensityMissing,
    Forbidden,
    Invalid,
    MassMissing,
    NotFound,
    PiecesWanted,
    Refusal,
)
from ledger.models import (
    ChargeShare,
    Custody,
    Decision,
    Entry,
    Lot,
    Maker,
    Material,
    Posting,
    Receipt,
    ReceiptLine,
    Supplier,
)
from ledger.quantities import parse_density, parse_quantity
from ledger.receiving import Delivered, Received, receive
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
FREIGHT = Charge(ChargeKind.FREIGHT, D("41.30"), SpreadBy.MASS)
TAX = Charge(ChargeKind.TAX, D("21.00"), SpreadBy.VALUE)


class Door:
    """A maker's door, where deliveries come in."""

    def __init__(self, books: Books | None = None) -> None:
        self.books = books or Books()
        self.actor = self.books.actor
        with acting_as(self.actor):
            self.supplier = add_supplier(self.actor, name="a supplier of raw materials")

    def line(self, material: Material, quantity: str, price: str, **more: Any) -> Delivered:
        return Delivered(
            material=str(material.id),
            supplier_lot="B-2207",
            quantity=parse_quantity(quantity),
            price=D(price),
            **more,
        )

    def receive(self, *lines: Delivered, **more: Any) -> Received:
        given: dict[str, Any] = {"charges": [], "happened_at": now(), **more}
        with acting_as(self.actor):
            return receive(self.actor, supplier=self.supplier.id, lines=lines, **given)

    def counts(self) -> list[int]:
        with acting_as(self.actor):
            tables = (Lot, Custody, Decision, Entry, Posting, Receipt, ReceiptLine, ChargeShare)
            numbered = Maker.objects.get(id=self.books.bench.maker.id).lots_numbered
            return [*(table._default_manager.count() for table in tables), numbered]

    def refuses(
        self, error: type[Refusal], pointer: str, *lines: Delivered, **more: Any
    ) -> Refusal:
        """The refusal, which stands at `pointer` and leaves nothing behind."""
        before = self.counts()
        with pytest.raises(error) as refused:
            self.receive(*lines, **more)
        assert type(refused.value) is error
        assert refused.value.pointer == pointer
        assert self.counts() == before
        return refused.value


def test_a_delivery_by_volume_costs_what_it_costs_on_the_shelf() -> None:
    """4 US gal at 1.26 g/mL is 19,078.475 g; freight by mass and 6 % tax by value, to the cent."""
    door = Door()
    bench = door.books.bench
    humectant = bench.material("Propanediol", density=D("1.26"), density_entered="1.26 g/mL")
    powder, wax = bench.material("Allantoin"), bench.material("Cera Alba")
    received = door.receive(
        door.line(humectant, "4 gal", "186.00"),
        door.line(powder, "10 kg", "92.00"),
        door.line(wax, "5 kg", "72.00"),
        charges=[FREIGHT, TAX],
        reference="delivery note 411",
    )
    assert [measured.quantity for measured in received.measured] == [
        D("19078.475391"),
        D(10000),
        D(5000),
    ]
    assert [line.shares for line in received.landed] == [
        (D("23.12"), D("11.16")),
        (D("12.12"), D("5.52")),
        (D("6.06"), D("4.32")),
    ]
    assert [line.landed_cost for line in received.landed] == [
        D("220.28"),
        D("109.64"),
        D("82.38"),
    ]
    assert [round(line.unit_cost, 4) for line in received.landed] == [
        D("11.5460"),
        D("10.9640"),
        D("16.4760"),
    ]
    assert received.receipt.total == D("412.30")
    assert door.books.held(received.lots[0]) == (D("19078.475391"), D("220.28"))
    assert door.books.worth(powder) == (10000, D("109.64"))
    assert door.books.disagreements() == []
    assert_the_working_is_kept(door, received)


def assert_the_working_is_kept(door: Door, received: Received) -> None:
    with acting_as(door.actor):
        kept = ReceiptLine.objects.get(receipt=received.receipt, position=0)
        shares = ChargeShare.objects.filter(line=kept).order_by("charge__position")
        assert (kept.entered, kept.density_of, kept.density) == ("4 gal", "material", D("1.26"))
        assert (kept.goods, kept.landed_cost) == (186, D("220.28"))
        assert [share.amount for share in shares] == [D("23.12"), D("11.16")]
        entry = Entry.objects.get(id=received.entry_id)
        assert (entry.kind, entry.reason) == ("receipt", "delivery note 411")


def test_a_discount_is_no_cost_and_the_supplier_gave_all_of_it() -> None:
    door = Door()
    material = door.books.bench.material()
    received = door.receive(door.line(material, "2 kg", "30.00", discount=D("4.50")))
    assert received.landed[0].landed_cost == D("25.50")
    with acting_as(door.actor):
        sides = dict(
            Posting.objects.filter(entry_id=received.entry_id).values_list("account__kind", "value")
        )
    assert sides == {"supplier": D("-25.50"), "store": D("25.50")}


def test_pieces_are_counted_and_carry_freight_by_their_mass() -> None:
    door = Door()
    bottle = door.books.bench.material(measured_by="count", mass_each=D(30))
    oil = door.books.bench.material()
    received = door.receive(
        door.line(bottle, "100 each", "30.00"), door.line(oil, "1 kg", "50.00"), charges=[FREIGHT]
    )
    assert [line.landed_cost for line in received.landed] == [D("60.98"), D("60.32")]
    assert door.books.held(received.lots[0]) == (100, D("60.98"))
    assert received.landed[0].unit_cost == D("0.609800")


def test_the_lot_s_own_density_comes_before_the_material_s() -> None:
    door = Door()
    material = door.books.bench.material(density=D("1.26"))
    received = door.receive(
        door.line(material, "1 L", "10", density=parse_density("1.25 g/mL", "20 degC")),
        door.line(material, "1 L", "10"),
    )
    assert [m.quantity for m in received.measured] == [1250, 1260]
    assert [m.density_of for m in received.measured] == ["lot", "material"]
    with acting_as(door.actor):
        lots = {lot.id: lot for lot in Lot.objects.all()}
        kept = ReceiptLine.objects.get(receipt=received.receipt, position=0)
    own, other = (lots[lot.id] for lot in received.lots)
    assert (own.density, own.density_at, own.density_entered) == (D("1.25"), 20, "1.25 g/mL")
    assert other.density is None
    assert (kept.density, kept.density_at) == (D("1.25"), 20)


def test_lots_wait_in_quarantine_unless_they_are_released_on_receipt() -> None:
    door = Door()
    material = door.books.bench.material()
    waiting = door.receive(door.line(material, "1 kg", "10"))
    ready = door.receive(door.line(material, "1 kg", "10"), release_basis="certificate seen")
    with acting_as(door.actor):
        status = dict(Custody.objects.values_list("lot_id", "status"))
        decision = Decision.objects.get()
    assert (waiting.released, ready.released) == (False, True)
    assert status == {waiting.lots[0].id: "quarantine", ready.lots[0].id: "released"}
    assert (decision.lot_id, decision.decision, decision.basis, decision.person_id) == (
        ready.lots[0].id,
        "release",
        "certificate seen",
        door.actor.person_id,
    )


def test_lots_are_numbered_with_the_maker_s_mark() -> None:
    door = Door()
    material = door.books.bench.material()
    first = door.receive(door.line(material, "1 kg", "1"), door.line(material, "2 kg", "2"))
    later = door.receive(door.line(material, "3 kg", "3"))
    assert [lot.code for lot in (*first.lots, *later.lots)] == ["NB1", "NB2", "NB3"]
    assert {lot.supplier_lot for lot in first.lots} == {"B-2207"}


def test_a_delivery_may_be_entered_days_later() -> None:
    door = Door()
    material = door.books.bench.material()
    happened_at = ago(6)
    received = door.receive(
        door.line(material, "1 kg", "10", expires_on=happened_at.date()), happened_at=happened_at
    )
    assert received.lots[0].arrived_on == happened_at.date()
    door.books.take(received.lots[0], "400", on=ago(5))
    assert door.books.held(received.lots[0])[0] == 600


def test_a_delivery_of_nothing_known_is_refused() -> None:
    door = Door()
    material = door.books.bench.material()
    line = door.line(material, "1 kg", "10")
    door.refuses(NotFound, "/lines/1/material", line, replace(line, material=str(UUID(int=1))))
    before = door.counts()
    with pytest.raises(NotFound) as refused, acting_as(door.actor):
        receive(door.actor, supplier="none", lines=[line], charges=[], happened_at=now())
    assert refused.value.pointer == "/supplier"
    assert door.counts() == before


def test_what_another_co_op_has_is_not_there() -> None:
    door, stranger = Door(), Door()
    neighbour = Door(Books(bench=open_bench("Mill Bench", coop=door.books.bench.coop)))
    secret = neighbour.books.bench.material(maker=neighbour.books.bench.maker)
    theirs = stranger.books.bench.material()
    for material in (secret, theirs):
        door.refuses(NotFound, "/lines/0/material", door.line(material, "1 kg", "10"))
    with pytest.raises(NotFound), acting_as(door.actor):
        receive(door.actor, supplier=stranger.supplier.id, lines=[], charges=[], happened_at=now())
    # The suppliers are the co-op's, for all its makers.
    with acting_as(door.actor):
        assert Supplier.objects.filter(id=neighbour.supplier.id).exists()


def test_what_is_missing_is_named() -> None:
    door = Door()
    bench = door.books.bench
    liquid = bench.material("Glycerin")
    bottle = bench.material("bottle", measured_by="count")
    good = door.line(liquid, "1 kg", "10")
    refusal = door.refuses(
        DensityMissing, "/lines/1/quantity", good, door.line(liquid, "1 gal", "10")
    )
    assert "Glycerin" in refusal.detail
    refusal = door.refuses(
        MassMissing,
        "/charges/1/spread_by",
        good,
        door.line(bottle, "10 each", "10"),
        charges=[TAX, FREIGHT],
    )
    assert "bottle" in refusal.detail
    door.refuses(PiecesWanted, "/lines/0/quantity", door.line(bottle, "1 kg", "10"))
    door.refuses(CountNotWhole, "/lines/0/quantity", door.line(bottle, "1.5 each", "10"))


def test_dates_that_cannot_be_are_refused() -> None:
    door = Door()
    material = door.books.bench.material()
    good = door.line(material, "1 kg", "10", expires_on=now().date(), retest_on=now().date())
    yesterday = now().date() - timedelta(days=1)
    for name in ("expires_on", "retest_on"):
        early: dict[str, Any] = {name: yesterday}
        door.refuses(Invalid, f"/lines/1/{name}", good, replace(good, **early))
    tomorrow = now() + timedelta(days=1)
    late = replace(good, expires_on=date(2100, 1, 1), retest_on=None)
    door.refuses(Invalid, "/happened_at", late, happened_at=tomorrow)


def test_who_may_not_decide_releases_nothing_on_receipt() -> None:
    door = Door()
    line = door.line(door.books.bench.material(), "1 kg", "10")
    door.refuses(Invalid, "/release/basis", line, release_basis=" ")
    door.actor = door.books.bench.as_role("books")
    door.receive(line)
    door.refuses(Forbidden, "", line, release_basis="certificate seen")
    door.actor = door.books.bench.as_role("read-only")
    door.refuses(Forbidden, "", line)
