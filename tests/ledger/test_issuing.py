"""What leaves the store and comes back: samples, write-offs, sales, returns, opening stock."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.errors import (
    Conflict,
    DensityMissing,
    Forbidden,
    Invalid,
    LotExpired,
    LotNotReleased,
    NotEnough,
    NotFound,
    UsedSince,
)
from ledger.issuing import (
    ISSUED,
    Moved,
    Taken,
    issue,
    return_to_supplier,
    sell,
    take_back,
)
from ledger.lots import decide, decisions_of
from ledger.models import Custody, Entry, Lot, Posting
from ledger.opening_stock import open_stock
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from tests.ledger.bench import now
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def taken(lot: Lot | UUID, quantity: str) -> Taken:
    return Taken(lot.id if isinstance(lot, Lot) else lot, parse_quantity(quantity))


def do(books: Books, verb: Any, *lines: Taken, **facts: Any) -> Moved:
    with acting_as(books.actor):
        moved: Moved = verb(books.actor, lines=lines, **{"happened_at": now(), **facts})
        return moved


def sold(books: Books, *lines: Taken, **facts: Any) -> UUID:
    return do(books, sell, *lines, customer="shop 7", **facts).posted.entry_id


def back(books: Books, sale: UUID, *lines: Taken) -> Decimal:
    return do(books, take_back, *lines, sale=sale, reason="pump broken").value


@pytest.mark.parametrize("purpose", sorted(ISSUED))
def test_each_purpose_has_an_account_of_its_own(purpose: str) -> None:
    books = Books()
    lot = books.lot("100", "25")
    moved = do(books, issue, taken(lot, "10 g"), purpose=purpose, reason="for the fair")
    assert moved.value == D("2.5")
    with acting_as(books.actor):
        entry = Entry.objects.get(id=moved.posted.entry_id)
        to = Posting.objects.select_related("account").get(entry=entry, quantity__gt=0).account
    assert (entry.kind, entry.reason, entry.details["purpose"]) == (
        "issue",
        "for the fair",
        purpose,
    )
    assert entry.details["lines"] == [{"entered": "10 g", "quantity": "10.000000"}]
    assert (to.name, to.kind == "loss") == (purpose, purpose in ("write-off", "spill", "scrap"))


def test_expired_and_rejected_stock_can_be_written_off_but_not_sold() -> None:
    books = Books()
    today = now().date()
    late = books.lot("10", "5", expires_on=today - timedelta(days=1), on=ago(5))
    barred = books.lot("10", "5", status="rejected")
    with pytest.raises(LotExpired) as expired:
        sold(books, taken(late, "1 g"))
    assert expired.value.pointer == "/lines/0/quantity"
    with pytest.raises(LotNotReleased) as refused:
        sold(books, taken(books.lot("10", "5"), "1 g"), taken(barred, "1 g"))
    assert refused.value.pointer == "/lines/1/quantity"
    moved = do(
        books, issue, taken(late, "10 g"), taken(barred, "10 g"), purpose="write-off", reason="bad"
    )
    assert moved.value == 10


def test_a_sale_against_the_rule_is_a_named_deviation() -> None:
    books = Books()
    barred = books.lot("10", "5", status="hold")
    sale = sold(books, taken(barred, "1 g"), deviation="hold lifted by telephone")
    with acting_as(books.actor):
        entry = Entry.objects.get(id=sale)
    assert (entry.deviation, entry.details["customer"]) == ("hold lifted by telephone", "shop 7")


def test_a_sale_sold_when_the_lot_was_in_date_stands() -> None:
    books = Books()
    last = ago(3)
    lot = books.lot("10", "5", expires_on=last.date(), on=ago(9))
    sold(books, taken(lot, "1 g"), happened_at=last)
    with pytest.raises(LotExpired):
        sold(books, taken(lot, "1 g"), happened_at=ago(2))


def test_more_than_is_there_is_refused_at_its_line() -> None:
    books = Books()
    first, second = books.lot("10", "5"), books.lot("3", "5")
    with pytest.raises(NotEnough, match=r"Only 3 g of the lot \w+") as refused:
        sold(books, taken(first, "1 g"), taken(second, "3.1 g"))
    assert refused.value.pointer == "/lines/1/quantity"
    assert (books.held(first)[0], books.held(second)[0]) == (10, 3)


def test_a_volume_needs_a_density_and_its_place_is_named() -> None:
    books = Books()
    lot = books.lot("1000", "5")
    with pytest.raises(DensityMissing) as refused:
        do(books, issue, taken(lot, "10 mL"), purpose="sample", reason="")
    assert refused.value.pointer == "/lines/0/quantity"
    with acting_as(books.actor):
        Lot.objects.filter(id=lot.id).update(density=D("1.26"), density_entered="1.26 g/mL")
    moved = do(books, issue, taken(lot, "10 mL"), purpose="sample", reason="")
    assert (moved.measured[0].quantity, moved.measured[0].density_of) == (D("12.6"), "lot")


def test_a_return_comes_back_at_the_cost_at_which_it_was_sold() -> None:
    """10 pieces sold at 1.00 each; by the return the store's average has risen to 3.00."""
    books = Books()
    soap = books.bench.material(measured_by="count")
    lot = books.lot("10", "10", material=soap)
    sale = sold(books, taken(lot, "10 each"))
    books.lot("10", "30", material=soap)
    assert back(books, sale, taken(lot, "4 each")) == 4
    assert books.worth(soap) == (14, 34)
    assert books.held(lot, "sales") == (6, 6)
    assert books.disagreements() == []


def test_partial_returns_add_up_to_the_last_millionth() -> None:
    books = Books()
    soap = books.bench.material(measured_by="count")
    lot = books.lot("7", "10", material=soap)
    sale = sold(books, taken(lot, "7 each"))
    values = [back(books, sale, taken(lot, "1 each")) for _ in range(7)]
    assert values[:2] == [D("1.428571"), D("1.428572")]
    assert sum(values) == 10
    assert books.held(lot) == (7, 10)
    assert books.held(lot, "sales") == (0, 0)


def test_no_more_comes_back_than_that_sale_sold() -> None:
    books = Books()
    soap = books.bench.material(measured_by="count")
    lot, other = books.lot("20", "20", material=soap), books.lot("5", "5", material=soap)
    sale = sold(books, taken(lot, "6 each"))
    sold(books, taken(lot, "9 each"))
    back(books, sale, taken(lot, "2 each"))
    for lines, place in (
        ([taken(lot, "5 each")], 0),
        ([taken(lot, "3 each"), taken(lot, "2 each")], 1),
        ([taken(lot, "1 each"), taken(other, "1 each")], 1),
    ):
        with pytest.raises(NotEnough) as refused:
            back(books, sale, *lines)
        assert refused.value.pointer == f"/lines/{place}/quantity"
    assert back(books, sale, taken(lot, "3 each"), taken(lot, "1 each")) == 4
    with pytest.raises(NotEnough, match="still has 0 pieces sold"):
        back(books, sale, taken(lot, "1 each"))


def test_what_came_back_waits_until_somebody_has_looked() -> None:
    """Of each lot once; what is rejected stays so, and what was refused holds nothing."""
    books = Books()
    lots = [books.lot("10", "10") for _ in range(2)]
    sale = sold(books, *(taken(lot, "4 g") for lot in lots))
    facts = {"sale": sale, "reason": "smells", "hold": "opened, not yet looked at"}

    def statuses() -> list[str]:
        return [Custody.objects.get(lot=lot).status for lot in lots]

    with pytest.raises(NotEnough):
        do(books, take_back, taken(lots[0], "5 g"), **facts)
    with acting_as(books.actor):
        assert statuses() == ["released", "released"]
        decide(books.actor, lot=lots[1].id, decision="reject", basis="rancid")
    again = [taken(lots[0], "1 g"), taken(lots[0], "1 g"), taken(lots[1], "1 g")]
    do(books, take_back, *again, **facts)
    with acting_as(books.actor):
        assert statuses() == ["hold", "rejected"]
        kept = decisions_of(books.actor, lots[0].id)
        assert [one.basis for one in kept if one.decision == "hold"] == [facts["hold"]]
    with pytest.raises(LotNotReleased):
        sold(books, taken(lots[0], "1 g"))
    assert back(books, sale, taken(lots[0], "1 g")) == 1
    assert books.disagreements() == []


def test_who_may_not_decide_takes_back_and_holds_nothing() -> None:
    books = Books()
    lot = books.lot("10", "10")
    sale = sold(books, taken(lot, "4 g"))
    books.actor = books.bench.as_role("books")
    with pytest.raises(Forbidden):
        do(books, take_back, taken(lot, "1 g"), sale=sale, reason="smells", hold="smells")
    assert back(books, sale, taken(lot, "4 g")) == 4


def test_a_return_that_was_undone_can_be_made_again() -> None:
    books = Books()
    lot = books.lot("10", "7")
    sale = sold(books, taken(lot, "10 g"))
    wrong = do(books, take_back, taken(lot, "9 g"), sale=sale, reason="returned")
    books.reverse(wrong.posted.entry_id)
    assert back(books, sale, taken(lot, "10 g")) == 7


def test_a_sale_whose_goods_came_back_is_not_undone_whole() -> None:
    books = Books()
    lot = books.lot("20", "20")
    sale, other = sold(books, taken(lot, "10 g")), sold(books, taken(lot, "5 g"))
    returned = do(books, take_back, taken(lot, "4 g"), sale=sale, reason="returned")
    with pytest.raises(UsedSince) as refused:
        books.reverse(sale)
    assert refused.value.facts["entries"] == [str(returned.posted.entry_id)]
    books.reverse(other)
    books.reverse(returned.posted.entry_id)
    books.reverse(sale)
    assert books.held(lot) == (20, 20)
    with pytest.raises(NotEnough):
        back(books, sale, taken(lot, "1 g"))


def test_only_a_sale_is_brought_back() -> None:
    books, stranger = Books(), Books()
    lot = books.lot("10", "7")
    sample = do(books, issue, taken(lot, "1 g"), purpose="sample", reason="").posted.entry_id
    theirs = stranger.lot("5", "5")
    for sale in (sample, sold(stranger, taken(theirs, "1 g")), UUID(int=5)):
        with pytest.raises(NotFound):
            back(books, sale, taken(lot, "1 g"))
    with pytest.raises(NotFound) as refused:
        sold(books, taken(lot, "1 g"), taken(theirs, "1 g"))
    assert refused.value.pointer == "/lines/1/lot"


def delivered(books: Books, *prices: str) -> list[Lot]:
    with acting_as(books.actor):
        supplier = add_supplier(books.actor, name="a supplier")
        received = receive(
            books.actor,
            supplier=supplier.id,
            lines=[
                Delivered(str(books.material.id), "B1", parse_quantity("10 kg"), D(price))
                for price in prices
            ],
            charges=[],
            happened_at=now(),
        )
    return list(received.lots)


def test_goods_go_back_to_their_supplier_at_their_cost() -> None:
    """Even from quarantine: what is wrong with a delivery is mostly seen there."""
    books = Books("lot")
    (lot,) = delivered(books, "50.00")
    moved = do(books, return_to_supplier, taken(lot, "4 kg"), reason="wrong grade")
    assert moved.value == 20
    assert books.held(lot) == (6000, 30)
    with acting_as(books.actor):
        to = Posting.objects.select_related("account").get(
            entry_id=moved.posted.entry_id, quantity__gt=0
        )
    assert (to.account.kind, to.value) == ("supplier", 20)
    assert books.disagreements() == []


def test_goods_of_no_supplier_or_of_several_do_not_go_back() -> None:
    books = Books()
    own, (first,), (second,) = books.lot("5", "1"), delivered(books, "5"), delivered(books, "6")
    with pytest.raises(Conflict, match="came from no supplier") as refused:
        do(books, return_to_supplier, taken(first, "1 g"), taken(own, "1 g"), reason="bad")
    assert refused.value.pointer == "/lines/1/lot"
    with pytest.raises(Invalid, match="several suppliers"):
        do(books, return_to_supplier, taken(first, "1 g"), taken(second, "1 g"), reason="bad")


def test_opening_stock_is_there_at_the_value_it_had() -> None:
    books = Books()
    with acting_as(books.actor):
        moved = open_stock(
            books.actor,
            material=books.material.id,
            quantity=parse_quantity("2.5 kg"),
            value=D("31.25"),
            supplier_lot="old label",
            happened_at=ago(30),
            expires_on=now().date(),
            release_basis="counted and checked",
        )
        custody = Custody.objects.get(lot=moved.lots[0])
        entry = Entry.objects.get(id=moved.posted.entry_id)
    assert books.held(moved.lots[0]) == (2500, D("31.25"))
    assert books.held(moved.lots[0], "opening") == (-2500, D("-31.25"))
    assert (custody.status, entry.kind) == ("released", "opening")
    assert moved.lots[0].arrived_on == ago(30).date()


def test_who_only_reads_takes_nothing_out() -> None:
    books = Books()
    lot = books.lot("10", "1")
    books.actor = books.bench.as_role("read-only")
    for verb, facts in (
        (issue, {"purpose": "sample", "reason": ""}),
        (sell, {"customer": ""}),
        (return_to_supplier, {"reason": ""}),
        (take_back, {"sale": UUID(int=1), "reason": ""}),
    ):
        with pytest.raises(Forbidden):
            do(books, verb, taken(lot, "1 g"), **facts)
