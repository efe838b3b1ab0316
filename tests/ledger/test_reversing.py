"""Undoing an entry: exactly what it posted comes back, or it is said what stands in the way."""

from decimal import Decimal
from uuid import UUID

import pytest
from django.db import IntegrityError

from ledger.access import acting_as
from ledger.entries import reverse_entry
from ledger.errors import AlreadyReversed, Conflict, Invalid, NotEnough, NotFound, UsedSince
from ledger.models import Entry, Posting
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, ago, refused_by

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
FORMULAS = ["average", "fifo", "lot"]


def lines(books: Books, entry: UUID) -> list[tuple[UUID, UUID | None, Decimal, Decimal]]:
    with acting_as(books.actor):
        rows = Posting.objects.filter(entry_id=entry).order_by("line")
        return list(rows.values_list("account_id", "lot_id", "quantity", "value"))


def in_the_way(refusal: pytest.ExceptionInfo[UsedSince]) -> set[UUID]:
    named = [UUID(entry) for entry in refusal.value.facts["entries"]]
    assert all(str(entry) in refusal.value.detail for entry in named)
    return set(named)


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_draw_comes_back_at_the_value_at_which_it_left(formula: str) -> None:
    """7 of 10 lots at odd prices, drawn across two layers; dearer goods came in between."""
    books = Books(formula)
    first, second = books.lot("3", "10"), books.lot("7", "31")
    before = (books.layers(), books.held(first), books.held(second))
    draw = books.take(second, "6.5").entry_id
    dear = books.put(books.lot(), "5", "99")
    undone = books.reverse(draw)
    assert lines(books, undone) == [(a, lot, -q, -v) for a, lot, q, v in lines(books, draw)]
    books.reverse(dear)
    assert (books.layers(), books.held(first), books.held(second)) == before
    assert books.held(second, "loss") == (0, 0)
    assert books.disagreements() == []
    with acting_as(books.actor):
        entry = Entry.objects.get(id=undone)
    assert (entry.kind, entry.reverses_id, entry.reason) == ("reversal", draw, "typed wrongly")


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_receipt_can_be_taken_back_while_nothing_of_it_is_used(formula: str) -> None:
    books = Books(formula)
    kept = books.lot("10", "10")
    wrong = books.lot()
    receipt = books.put(wrong, "30", "77")
    books.reverse(receipt)
    assert books.held(wrong) == (0, 0)
    assert books.worth() == (10, 10)
    assert books.held(kept) == (10, 10)
    assert books.disagreements() == []


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_receipt_used_since_names_the_entries_in_the_way(formula: str) -> None:
    books = Books(formula)
    lot = books.lot()
    receipt = books.put(lot, "10", "10")
    first = books.take(lot, "1").entry_id
    second = books.take(lot, "2", "sample").entry_id
    with pytest.raises(UsedSince) as refused:
        books.reverse(receipt)
    assert in_the_way(refused) == {first, second}
    assert books.held(lot) == (7, 7)
    books.reverse(first)
    with pytest.raises(UsedSince) as refused:
        books.reverse(receipt)
    assert in_the_way(refused) == {second}
    books.reverse(second)
    books.reverse(receipt)
    assert books.worth() == (0, 0)
    assert books.disagreements() == []


def test_first_in_first_out_uses_a_receipt_by_pouring_another_lot() -> None:
    books = Books("fifo")
    old, new = books.lot(), books.lot()
    receipt = books.put(old, "10", "10")
    books.put(new, "10", "20")
    draw = books.take(new, "4").entry_id
    with pytest.raises(UsedSince) as refused:
        books.reverse(receipt)
    assert in_the_way(refused) == {draw}


def test_two_lines_of_one_lot_are_judged_together() -> None:
    """Each line alone could be taken back; both together could not."""
    books = Books()
    lot, batch = books.lot("10", "10"), books.batch()
    poured = books.post(
        books.move("store", batch, lot, "3"), books.move("store", batch, lot, "3"), kind="draw"
    ).entry_id
    back = books.post(books.move(batch, "store", lot, "2"), kind="weigh_back").entry_id
    with pytest.raises(UsedSince) as refused:
        books.reverse(poured)
    assert in_the_way(refused) == {back}


def test_a_batch_keeps_no_value_without_goods() -> None:
    """10 g at 50 and 10 g at 70 are in the batch, 10 g went back at 60: the rest is worth 60."""
    books = Books("fifo")
    books.lot("10", "50")
    lot, batch = books.lot("20", "140"), books.batch()
    first = books.take(lot, "10", batch, kind="draw").entry_id
    books.take(lot, "10", batch, kind="draw")
    assert books.held(lot, batch) == (20, 120)
    back = books.post(books.move(batch, "store", lot, "10"), kind="weigh_back").entry_id
    with pytest.raises(UsedSince) as refused:
        books.reverse(first)
    assert in_the_way(refused) == {back}
    books.reverse(back)
    books.reverse(first)
    assert books.disagreements() == []


def test_an_entry_is_undone_once() -> None:
    books = Books()
    draw = books.take(books.lot("10", "10"), "1").entry_id
    undone = books.reverse(draw)
    with pytest.raises(AlreadyReversed):
        books.reverse(draw)
    with pytest.raises(Conflict, match="A reversal is not reversed"):
        books.reverse(undone)


def test_a_reversal_says_why() -> None:
    books = Books()
    draw = books.take(books.lot("10", "10"), "1").entry_id
    with pytest.raises(IntegrityError) as refused, acting_as(books.actor):
        reverse_entry(books.actor, entry=draw, reason="", happened_at=now())
    assert refused_by(refused.value) == "entry_reversal_has_reason"


def test_an_entry_is_not_undone_before_it_happened() -> None:
    books = Books()
    draw = books.take(books.lot("10", "10", on=ago(9)), "1", on=ago(3)).entry_id
    with pytest.raises(Invalid) as refused:
        books.reverse(draw, on=ago(4))
    assert refused.value.pointer == "/happened_at"
    books.reverse(draw, on=ago(2))


def test_another_maker_s_entry_is_not_there() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    for other in (neighbour, Books()):
        entry = other.put(other.lot(), "1", "1")
        with pytest.raises(NotFound):
            books.reverse(entry)


def test_a_reversal_overdraws_no_later_day() -> None:
    """The goods came twice: on day 9 and, to cover a draw on day 5, again on day 2."""
    books = Books()
    lot = books.lot()
    wrong = books.put(lot, "10", "10", on=ago(9))
    books.take(lot, "8", on=ago(5))
    books.put(lot, "10", "10", on=ago(2))
    with pytest.raises(NotEnough, match="overdrawn by 8"):
        books.reverse(wrong, on=ago(6))
    books.reverse(wrong, on=ago(1))
    assert books.held(lot)[0] == 2


def test_what_is_promised_is_not_taken_back() -> None:
    books = Books()
    lot = books.lot()
    receipt = books.put(lot, "10", "10")
    books.reserve(lot, "4", books.batch("B7"))
    with pytest.raises(NotEnough, match="reserved for B7"):
        books.reverse(receipt)
    assert books.held(lot) == (10, 10)


@pytest.mark.parametrize("now_formula", FORMULAS)
@pytest.mark.parametrize("then", FORMULAS)
def test_a_draw_comes_back_after_the_cost_formula_changed(then: str, now_formula: str) -> None:
    books = Books(then)
    first, second = books.lot("3", "10"), books.lot("7", "31")
    draw = books.take(second, "5").entry_id
    books.choose(now_formula)
    books.reverse(draw)
    assert books.worth() == (10, 41)
    assert (books.held(first), books.held(second)) == ((3, 10), (7, 31))
    assert books.disagreements() == []


@pytest.mark.parametrize("now_formula", FORMULAS)
@pytest.mark.parametrize("then", FORMULAS)
def test_a_receipt_goes_back_after_the_cost_formula_changed(then: str, now_formula: str) -> None:
    """Both lots cost the same, so that no formula gives either another value."""
    books = Books(then)
    kept, wrong = books.lot("6", "12"), books.lot()
    receipt = books.put(wrong, "7", "14")
    books.choose(now_formula)
    books.reverse(receipt)
    assert books.worth() == (6, 12)
    assert books.held(kept) == (6, 12)
    assert books.disagreements() == []


def test_a_value_that_a_new_formula_spread_does_not_come_back() -> None:
    """At the average both lots cost 6; the receipt cost 5, and 1 a piece would be left over."""
    books = Books("average")
    cheap = books.lot()
    receipt = books.put(cheap, "10", "50")
    books.lot("10", "70")
    books.choose("lot")
    with pytest.raises(UsedSince, match="cost formula has changed since"):
        books.reverse(receipt)
    assert books.worth() == (20, 120)


def test_a_change_of_cost_formula_is_not_undone() -> None:
    books = Books("average")
    books.lot("10", "50")
    books.choose("fifo")
    with acting_as(books.actor):
        change = Entry.objects.get(kind="cost_formula").id
    with pytest.raises(Conflict, match="works forward only"):
        books.reverse(change)
