"""Planning and cancelling: which lots are picked, what is reserved, what is short."""

from datetime import date, timedelta

import psycopg
import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from formulas.batches import Size, cancel_batch, plan_batch
from formulas.errors import AlreadyFinished
from formulas.models import Batch
from formulas.undoing import undo
from ledger.access import acting_as
from ledger.errors import DensityMissing, Invalid, NotEnough, NotFound
from ledger.models import Account, Shortfall
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, D, Shelf, Workshop, on, open_workshop

IN_BATCH = Account.Kind.BATCH


@pytest.mark.parametrize(
    ("day", "grams"),
    [
        ("2025-05-14", (0, 1450, 1550)),
        ("2025-05-09", (900, 1450, 650)),
        ("2025-05-10", (900, 1450, 650)),
    ],
)
def test_first_expiry_first_on_the_day_of_the_batch(
    shop: Workshop, shelf: Shelf, day: str, grams: tuple[int, int, int]
) -> None:
    """A lot that expires before the planned day is skipped; its last day still counts."""
    planned = shop.plan(shelf.formula, "3 kg", planned_for=on(day).date())
    (line,) = planned.lines
    picked = {pick.lot_id: pick.quantity for pick in line.picks}
    assert tuple(picked.get(lot.id, 0) for lot in shelf.lots) == grams
    assert tuple(shop.reserved(lot) for lot in shelf.lots) == grams
    assert line.line.short == 0
    shop.weigh_all(planned, at=on(day))
    assert [shop.reserved(lot) for lot in shelf.lots] == [0, 0, 0]
    assert tuple(shop.held(lot, IN_BATCH)[0] for lot in shelf.lots) == grams


def test_the_code_counts_up_and_carries_the_year(shop: Workshop, shelf: Shelf) -> None:
    codes = [shop.plan(shelf.formula, "10 g").batch.code for _ in range(2)]
    assert codes == ["NB25-001", "NB25-002"]


def test_undated_quarantined_and_held_lots(shop: Workshop) -> None:
    material = shop.material("Betaine")
    undated = shop.receive(material, "100 g", "1.00")
    dated = shop.receive(material, "100 g", "1.00", expires_on=date(2025, 12, 31))
    shop.receive(material, "100 g", "1.00", release=None)
    on_hold = shop.receive(material, "100 g", "1.00")
    shop.decide(on_hold, "hold")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "250 g")
    (line,) = planned.lines
    assert [(pick.lot_id, pick.quantity) for pick in line.picks] == [
        (dated.id, D(100)),
        (undated.id, D(100)),
    ]
    assert line.line.short == 50


def test_a_plan_that_is_short_says_so_until_it_is_weighed(shop: Workshop) -> None:
    material = shop.material("Betaine")
    shop.receive(material, "100 g", "1.00")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "250 g")

    def lacking() -> list[object]:
        with acting_as(shop.actor):
            return [row.quantity for row in Shortfall.objects.all()]

    assert lacking() == [150]
    late = shop.receive(material, "1 kg", "10.00")
    shop.weigh(planned, 0, late, "60 g")
    assert lacking() == [90]
    shop.weigh_all(planned)
    assert lacking() == [90]
    shop.weigh(planned, 0, late, "90 g")
    assert lacking() == [0]


def test_the_same_material_on_two_lines_is_promised_once(shop: Workshop) -> None:
    material = shop.material("Glycerin")
    lot = shop.receive(material, "100 g", "1.00")
    formula = shop.formula("Twice", [(material, "60"), (material, "40")])
    planned = shop.plan(formula, "150 g")
    assert [one.line.grams for one in planned.lines] == [90, 60]
    assert [one.line.short for one in planned.lines] == [0, 50]
    assert [pick.quantity for one in planned.lines for pick in one.picks] == [90, 10]
    assert shop.reserved(lot) == 100


def test_what_another_batch_has_reserved_is_not_there(shop: Workshop, shelf: Shelf) -> None:
    first = shop.plan(shelf.formula, "4 kg")
    second = shop.plan(shelf.formula, "2 kg")
    assert [pick.quantity for one in second.lines for pick in one.picks] == [950]
    assert second.lines[0].line.short == 1050
    with pytest.raises(NotEnough) as refusal:
        shop.weigh(second, 0, shelf.lots[2], "951 g")
    assert refusal.value.facts["reserved_for"] == [first.batch.code]
    assert first.batch.code in refusal.value.detail
    assert refusal.value.pointer == "/quantity"
    shop.weigh(second, 0, shelf.lots[2], "950 g")


def test_a_batch_is_of_a_formula_or_of_a_product(shop: Workshop, shelf: Shelf) -> None:
    product = shop.product(shelf.formula, "100 g")
    kilogram = Size(batch=parse_quantity("1 kg"))
    for wrong in (
        {"size": kilogram},
        {"size": kilogram, "formula": shelf.formula.formula_id, "product": product.id},
        {"size": kilogram, "product": product.id},
        {"size": Size(units=3), "formula": shelf.formula.formula_id},
        {"size": Size(), "formula": shelf.formula.formula_id},
    ):
        with pytest.raises(Invalid):
            shop.does(plan_batch, planned_for=TODAY, **wrong)
    with pytest.raises(DensityMissing) as refusal:
        shop.plan(shelf.formula, "1 L")
    assert refusal.value.pointer == "/batch"
    with pytest.raises(NotFound) as missing:
        open_workshop().does(
            plan_batch, planned_for=TODAY, size=kilogram, formula=shelf.formula.formula_id
        )
    assert missing.value.pointer == "/formula"


def test_a_plan_is_kept(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "1 kg")
    newer = shop.next_version(shelf.formula, [(shelf.material, "100")], loss="10")
    assert shop.batch(planned).version_id == shelf.formula.id
    with pytest.raises(IntegrityError) as error, acting_as(shop.actor):
        Batch.objects.filter(id=planned.batch.id).update(version=newer)
    assert isinstance(error.value.__cause__, psycopg.Error)
    assert error.value.__cause__.diag.constraint_name == "batch_plan_kept"


def test_cancelling_gives_everything_back(shop: Workshop, shelf: Shelf) -> None:
    before = [shop.held(lot) for lot in shelf.lots]
    planned = shop.plan(shelf.formula, "2 kg")
    shop.weigh(planned, 0, shelf.lots[0], "900 g")
    shop.weigh(planned, 0, shelf.lots[1], "333.33 g")
    with pytest.raises(Invalid):
        shop.does(cancel_batch, batch=planned.batch.id, reason=" ", happened_at=MORNING)
    cancelled = shop.does(
        cancel_batch, batch=planned.batch.id, reason="mixer broke", happened_at=MORNING
    )
    assert cancelled.state == Batch.State.CANCELLED
    assert [shop.held(lot) for lot in shelf.lots] == before
    assert [shop.reserved(lot) for lot in shelf.lots] == [0, 0, 0]
    with pytest.raises(AlreadyFinished, match="cancelled"):
        shop.weigh(planned, 0, shelf.lots[0], "1 g")
    with pytest.raises(AlreadyFinished):
        shop.does(cancel_batch, batch=planned.batch.id, reason="again", happened_at=MORNING)
    undone = shop.does(
        undo, entry=cancelled.cancel_entry_id, reason="it was another batch", happened_at=MORNING
    )
    assert undone.batch
    assert undone.batch.state == Batch.State.PLANNED
    assert shop.held(shelf.lots[0], IN_BATCH)[0] == 900


def test_a_batch_with_nothing_weighed_is_cancelled_without_an_entry(
    shop: Workshop, shelf: Shelf
) -> None:
    planned = shop.plan(shelf.formula, "2 kg")
    cancelled = shop.does(
        cancel_batch, batch=planned.batch.id, reason="not wanted", happened_at=MORNING
    )
    assert cancelled.cancel_entry_id is None


def queries_to_plan(shop: Workshop, count: int) -> int:
    """How many queries a plan takes with so many lines and lots."""
    materials = [shop.material(f"Material {number}") for number in range(count)]
    for material in materials:
        for _ in range(count):
            shop.receive(material, "10 g", "1.00")
    formula = shop.formula(
        f"Of {count}", [(material, str(D(100) / count)) for material in materials]
    )
    with CaptureQueriesContext(connection) as queries:
        planned = shop.plan(formula, "30 g")
    assert sum(len(line.picks) for line in planned.lines) >= count
    return len(queries)


def test_planning_takes_as_many_queries_for_many_lines_as_for_two(shop: Workshop) -> None:
    assert queries_to_plan(shop, 2) == queries_to_plan(shop, 5)


def test_a_batch_of_another_maker_is_not_there(shop: Workshop, shelf: Shelf) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    planned = shop.plan(shelf.formula, "1 kg", planned_for=TODAY + timedelta(days=1))
    with pytest.raises(NotFound):
        other.does(cancel_batch, batch=planned.batch.id, reason="not mine", happened_at=MORNING)
