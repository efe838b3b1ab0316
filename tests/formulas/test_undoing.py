"""Undoing: a finish, a weighing, a weighing back; and what stands in the way."""

from dataclasses import replace

import pytest

from formulas.composition import ToEffect
from formulas.errors import AlreadyFinished, OverMaximum
from formulas.filling import fill
from formulas.undoing import undo
from formulas.unit_costs import latest_unit_cost
from formulas.weighing import weigh_back
from ledger.access import acting_as
from ledger.errors import AlreadyReversed, Conflict, Forbidden, Invalid, UsedSince
from ledger.models import Account, Entry
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Shelf, Workshop, on

LATER = on("2025-05-09")


def test_an_undone_finish_leaves_the_batch_as_it_was_before(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    lot = shop.receive(material, "1 kg", "10.00")
    bottle = shop.material("Bottle", measured_by="count")
    bottles = shop.receive(bottle, "10 each", "5.00")
    formula = shop.formula("Base", [(material, "100")])
    product = shop.product(formula, "100 g", [(bottle, "1 each")])
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    first = shop.finish(planned, "1 kg", units=10, samples=["1 each"], lost="10 g")
    undone = shop.does(undo, entry=first.making.entry_id, reason="miscounted", happened_at=LATER)
    assert undone.original.id == first.making.entry_id
    batch = shop.batch(planned)
    assert (batch.state, batch.making_id) == ("planned", None)
    assert shop.held(lot, Account.Kind.BATCH) == (1000, 10)
    assert shop.held(first.lot) == (0, 0)
    assert shop.held(bottles) == (10, 5)
    with acting_as(shop.actor):
        assert latest_unit_cost(product) is None
    again = shop.finish(planned, "900 g", units=9, at=LATER)
    assert again.lot.id != first.lot.id
    assert shop.held(again.lot) == (9, D("14.5"))
    with pytest.raises(AlreadyReversed):
        shop.does(undo, entry=first.making.entry_id, reason="again", happened_at=LATER)


def test_what_has_been_filled_stands_in_the_way(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    shop.receive(material, "1 kg", "10.00")
    formula = shop.formula("Base", [(material, "100")])
    planned = shop.plan(formula, "1 kg")
    shop.weigh_all(planned)
    made = shop.finish(planned, "1 kg")
    used = shop.does(
        fill,
        product=shop.product(formula, "100 g").id,
        lot=made.lot.id,
        units=5,
        happened_at=MORNING,
    )
    with pytest.raises(UsedSince) as refusal:
        shop.does(undo, entry=made.making.entry_id, reason="wrong", happened_at=LATER)
    assert refusal.value.facts["entries"] == [str(used.filling.entry_id)]
    assert shop.batch(planned).state == "finished"
    shop.does(undo, entry=used.filling.entry_id, reason="wrong", happened_at=LATER)
    shop.does(undo, entry=made.making.entry_id, reason="wrong", happened_at=LATER)
    assert shop.batch(planned).state == "planned"


def test_a_weighing_of_a_finished_batch_is_used(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    lot = shop.receive(material, "1 kg", "10.00")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "1 kg")
    weighed = shop.weigh(planned, 0, lot, "1 kg")
    made = shop.finish(planned, "1 kg")
    with pytest.raises(UsedSince) as refusal:
        shop.does(undo, entry=weighed.weighing.entry_id, reason="wrong", happened_at=LATER)
    assert refusal.value.facts["entries"] == [str(made.making.entry_id)]


def test_an_undone_weighing_no_longer_counts(shop: Workshop) -> None:
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    base_lot = shop.receive(base, "1 kg", "1.00")
    lot = shop.receive(acid, "1 kg", "1.00")
    formula = shop.formula("Gel", [(base, "99"), (acid, ToEffect(D(1), D(1)))])
    planned = shop.plan(formula, "1 kg")
    shop.weigh(planned, 0, base_lot, "990 g")
    first = shop.weigh(planned, 1, lot, "10 g")
    with pytest.raises(OverMaximum):
        shop.weigh(planned, 1, lot, "10 g")
    shop.does(undo, entry=first.weighing.entry_id, reason="wrong jar", happened_at=LATER)
    assert shop.weigh(planned, 1, lot, "10 g", happened_at=LATER).headroom_grams == 0


def test_nothing_comes_back_into_a_batch_that_is_finished(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    lot = shop.receive(material, "1 kg", "10.00")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "1 kg")
    shop.weigh(planned, 0, lot, "1 kg")
    back = shop.does(
        weigh_back,
        batch=planned.batch.id,
        lot=lot.id,
        quantity=parse_quantity("100 g"),
        happened_at=MORNING,
    )
    shop.finish(planned, "900 g")
    with pytest.raises(AlreadyFinished):
        shop.does(undo, entry=back.weighing.entry_id, reason="wrong", happened_at=LATER)


def test_other_entries_are_undone_here_too_and_every_undoing_has_a_reason(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    lot = shop.receive(material, "1 kg", "10.00")
    with acting_as(shop.actor):
        receipt = Entry.objects.get(kind=Entry.Kind.RECEIPT)
    with pytest.raises(Invalid) as refusal:
        shop.does(undo, entry=receipt.id, reason="", happened_at=LATER)
    assert refusal.value.pointer == "/reason"
    undone = shop.does(undo, entry=receipt.id, reason="never came", happened_at=LATER)
    assert undone.batch is None
    assert shop.held(lot) == (0, 0)
    with pytest.raises(Conflict, match="not reversed"):
        shop.does(undo, entry=undone.posted.entry_id, reason="it did", happened_at=LATER)


def test_who_may_not_undo(shop: Workshop) -> None:
    reader = replace(shop, actor=replace(shop.actor, role="read-only"))
    with pytest.raises(Forbidden):
        reader.does(undo, entry="0", reason="because", happened_at=LATER)


def test_what_comes_back_is_promised_to_its_batch_again(shop: Workshop, shelf: Shelf) -> None:
    """Or another could take it, and the position would look better than it is."""
    planned = shop.plan(shelf.formula, "2400 g")
    first, second = shelf.lots[1], shelf.lots[2]
    before = [shop.reserved(lot) for lot in shelf.lots]
    weighed = shop.weigh(planned, 0, first, f"{shop.reserved(first)} g")
    assert shop.reserved(first) == 0
    shop.does(undo, entry=weighed.weighing.entry_id, reason="wrong pot", happened_at=MORNING)
    assert [shop.reserved(lot) for lot in shelf.lots] == before

    other = shop.weigh(planned, 0, second, "100 g")
    shop.does(undo, entry=other.weighing.entry_id, reason="wrong lot", happened_at=MORNING)
    assert sum(shop.reserved(lot) for lot in shelf.lots) == sum(before)


def test_a_finish_that_is_undone_has_its_packaging_promised_again(shop: Workshop) -> None:
    oil, tin = shop.material("Oil"), shop.material("Tin", measured_by="count")
    shop.receive(oil, "5 kg", "20.00")
    tins = shop.receive(tin, "20 each", "10.00")
    balm = shop.formula("Balm", [(oil, "100")], density="0.92 g/mL")
    planned = shop.plan(shop.product(balm, "100 g", [(tin, "1 each")]), 15)
    shop.weigh_all(planned)
    finished = shop.finish(planned, "1500 g", units=15)
    assert shop.reserved(tins) == 0
    shop.does(undo, entry=finished.making.entry_id, reason="miscounted", happened_at=MORNING)
    assert shop.reserved(tins) == 15
