"""Planning, weighing, weighing back, cancelling: lots, reservations, densities, deviations."""

from dataclasses import dataclass
from datetime import date, timedelta

import psycopg
import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from formulas.batches import Size, cancel_batch, plan_batch
from formulas.composition import ToEffect
from formulas.errors import AlreadyFinished, OverMaximum
from formulas.models import Batch, FormulaVersion
from formulas.undoing import undo
from formulas.weighing import headroom_of, weigh, weigh_back
from ledger.access import acting_as
from ledger.errors import DensityMissing, Invalid, LotExpired, LotNotReleased, NotEnough, NotFound
from ledger.models import Account, Lot, Material, Shortfall
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, D, Workshop, on, open_workshop

IN_BATCH = Account.Kind.BATCH


@dataclass(frozen=True)
class Shelf:
    """Three lots of one material, costed by lot, and a formula of nothing else."""

    material: Material
    lots: tuple[Lot, Lot, Lot]
    formula: FormulaVersion


@pytest.fixture
def shelf(shop: Workshop) -> Shelf:
    """900 g to 10 May at 11.40 a kilogram, 1,450 g to 30 June at 12.10, 2,600 g at 12.90."""
    material = shop.material("Coco-Glucoside", cost_formula="lot")
    lots = (
        shop.receive(material, "900 g", "10.26", expires_on=date(2025, 5, 10)),
        shop.receive(material, "1450 g", "17.55", expires_on=date(2025, 6, 30)),
        shop.receive(material, "2600 g", "33.54"),
    )
    return Shelf(material, lots, shop.formula("Base", [(material, "100")]))


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


def test_what_is_weighed_costs_what_its_lot_cost(shop: Workshop) -> None:
    """1,450 g at 12.10 and 1,550 g at 12.90 a kilogram make 37.54."""
    material = shop.material("Coco-Glucoside", cost_formula="lot")
    shop.receive(material, "10 kg", "121.00", expires_on=date(2025, 6, 30))
    first = shop.receive(material, "1450 g", "17.55", expires_on=date(2025, 5, 30))
    second = shop.receive(material, "10 kg", "129.00")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "3 kg")
    shop.weigh(planned, 0, first, "1450 g")
    weighed = shop.weigh(planned, 0, second, "1550 g")
    assert weighed.value == D("19.995")
    assert shop.held(first, IN_BATCH) == (1450, D("17.55"))


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
        (dated.id, 100),
        (undated.id, 100),
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


def test_a_volume_goes_by_the_density_of_the_lot_before_that_of_the_material(
    shop: Workshop,
) -> None:
    material = shop.material("Glycerin", density="1.26 g/mL")
    plain = shop.receive(material, "1 kg", "10.00")
    measured = shop.receive(material, "1 kg", "10.00", density="1.25 g/mL")
    planned = shop.plan(shop.formula("Base", [(material, "100")]), "1 kg")
    by_lot = shop.weigh(planned, 0, measured, "100 mL").weighing
    by_material = shop.weigh(planned, 0, plain, "100 mL").weighing
    assert (by_lot.quantity, by_lot.density, by_lot.density_of) == (125, D("1.25"), "lot")
    assert (by_material.quantity, by_material.density_of) == (126, "material")
    assert by_lot.entered == "100 mL"
    powder = shop.material("Citric Acid")
    lot = shop.receive(powder, "1 kg", "10.00")
    planned = shop.plan(shop.formula("Acid", [(powder, "100")]), "1 kg")
    with pytest.raises(DensityMissing) as refusal:
        shop.weigh(planned, 0, lot, "1 cup")
    assert refusal.value.pointer == "/quantity"


def test_the_lot_must_be_what_the_line_wants(shop: Workshop, shelf: Shelf) -> None:
    other = shop.material("Betaine")
    lot = shop.receive(other, "1 kg", "5.00")
    planned = shop.plan(shelf.formula, "1 kg")
    with pytest.raises(Invalid) as refusal:
        shop.weigh(planned, 0, lot, "10 g")
    assert refusal.value.pointer == "/lot"
    for wrong in ({"lot": shelf.material.id}, {"lot": shelf.lots[0].id, "line": other.id}):
        facts = {"line": planned.lines[0].line.id, **wrong}
        with pytest.raises(NotFound) as missing:
            shop.does(
                weigh,
                batch=planned.batch.id,
                quantity=parse_quantity("1 g"),
                happened_at=MORNING,
                **facts,
            )
        assert missing.value.pointer == ("/line" if "line" in wrong else "/lot")
    with pytest.raises(Invalid) as nameless:
        shop.weigh(planned, 0, None, "1 g")
    assert nameless.value.pointer == "/lot"
    # A line of another batch is not a line of this one.
    another = shop.plan(shelf.formula, "10 g")
    with pytest.raises(NotFound) as foreign:
        shop.does(
            weigh,
            batch=planned.batch.id,
            line=another.lines[0].line.id,
            lot=shelf.lots[0].id,
            quantity=parse_quantity("1 g"),
            happened_at=MORNING,
        )
    assert foreign.value.pointer == "/line"


def test_an_addition_that_the_formula_does_not_list(shop: Workshop, shelf: Shelf) -> None:
    dye = shop.material("CI 19140")
    lot = shop.receive(dye, "100 g", "9.00")
    planned = shop.plan(shelf.formula, "1 kg")
    added = shop.does(
        weigh,
        batch=planned.batch.id,
        material=dye.id,
        lot=lot.id,
        quantity=parse_quantity("2 g"),
        happened_at=MORNING,
    )
    assert (added.line, added.value) == (None, D("0.18"))
    assert shop.held(lot, IN_BATCH) == (2, D("0.18"))


def test_an_expired_or_unreleased_lot_needs_a_deviation(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "3 kg", planned_for=date(2025, 5, 14))
    expired, _, fresh = shelf.lots
    day = on("2025-05-14")
    with pytest.raises(LotExpired) as late:
        shop.weigh(planned, 0, expired, "10 g", happened_at=day)
    assert late.value.pointer == "/lot"
    weighed = shop.weigh(planned, 0, expired, "10 g", happened_at=day, deviation="retested today")
    assert weighed.weighing.deviation == "retested today"
    shop.decide(fresh, "quarantine")
    with pytest.raises(LotNotReleased):
        shop.weigh(planned, 0, fresh, "10 g", happened_at=day)
    shop.decide(fresh, "reject")
    with pytest.raises(LotNotReleased, match="rejected"):
        shop.weigh(planned, 0, fresh, "10 g", happened_at=day, deviation="we are out of it")


def test_the_maximum_of_what_is_added_to_effect(shop: Workshop) -> None:
    """Base 12,000 g and thickener 36 g allow 60.48 g of acid at 0.50 % of the final mass."""
    base, salt, acid = (shop.material(name) for name in ("Base", "Sodium Chloride", "Lactic Acid"))
    lots = [shop.receive(material, "20 kg", "20.00") for material in (base, salt, acid)]
    effect = ToEffect(D("0.3"), D("0.5"))
    formula = shop.formula("Shampoo", [(base, "balance"), (salt, "0.3"), (acid, effect)])
    planned = shop.plan(formula, "12 kg")
    shop.weigh(planned, 0, lots[0], "12000 g")
    shop.weigh(planned, 1, lots[1], "36 g")
    assert shop.weigh(planned, 2, lots[2], "24 g").headroom_grams == D("36.482412")
    assert shop.weigh(planned, 2, lots[2], "18 g").headroom_grams == D("18.482412")
    with pytest.raises(OverMaximum) as refusal:
        shop.weigh(planned, 2, lots[2], "20 g")
    assert refusal.value.pointer == "/quantity"
    assert "0.5125 %" in refusal.value.detail
    assert "18.48 g" in refusal.value.detail
    over = shop.weigh(planned, 2, lots[2], "20 g", deviation="viscosity still low")
    assert over.headroom_grams == 0
    with acting_as(shop.actor):
        assert headroom_of(over.batch, planned.lines[2].line) == 0


def test_before_the_others_are_weighed_their_planned_mass_stands_in(shop: Workshop) -> None:
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    shop.receive(base, "20 kg", "20.00")
    lot = shop.receive(acid, "1 kg", "20.00")
    formula = shop.formula("Gel", [(base, "99"), (acid, ToEffect(D(1), D(1)))])
    planned = shop.plan(formula, "1 kg")
    assert shop.weigh(planned, 1, lot, "10 g").headroom_grams == 0
    with pytest.raises(OverMaximum):
        shop.weigh(planned, 1, lot, "0.01 g")


def test_water_needs_no_lot_and_is_never_short(shop: Workshop) -> None:
    water = shop.water(cost_per_kg=D("0.004"), cost_source="the town's bill of March")
    salt = shop.material("Sodium Chloride")
    shop.receive(salt, "1 kg", "1.00")
    planned = shop.plan(shop.formula("Brine", [(water, "90"), (salt, "10")]), "10 kg")
    first, second = (line.line for line in planned.lines)
    assert (planned.lines[0].picks, first.short, second.short) == ((), 0, 0)
    weighed = shop.weigh(planned, 0, None, "2.5 L")
    again = shop.weigh(planned, 0, None, "6.5 kg")
    assert (weighed.value, again.value) == (D("0.01"), D("0.026"))
    assert weighed.lot.id == again.lot.id
    assert shop.held(weighed.lot, Account.Kind.SOURCE) == (-9000, D("-0.036"))
    back = shop.does(
        weigh_back,
        batch=planned.batch.id,
        lot=weighed.lot.id,
        quantity=parse_quantity("1 kg"),
        happened_at=MORNING,
    )
    assert back.weighing.quantity == -1000
    assert shop.held(weighed.lot, Account.Kind.SOURCE)[0] == -8000


def test_weighing_back_returns_goods_at_the_value_they_went_in_with(
    shop: Workshop, shelf: Shelf
) -> None:
    lot = shelf.lots[2]
    planned = shop.plan(shelf.formula, "1 kg")
    shop.weigh(planned, 0, lot, "1000 g")
    back = shop.does(
        weigh_back,
        batch=planned.batch.id,
        lot=lot.id,
        quantity=parse_quantity("250 g"),
        happened_at=MORNING,
    )
    assert (back.value, back.line and back.line.id) == (D("-3.225"), planned.lines[0].line.id)
    assert shop.held(lot) == (1850, D("23.865"))
    with pytest.raises(NotEnough):
        shop.does(
            weigh_back,
            batch=planned.batch.id,
            lot=lot.id,
            quantity=parse_quantity("751 g"),
            happened_at=MORNING,
        )


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


def test_a_weighing_takes_few_round_trips(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "1 kg")
    with CaptureQueriesContext(connection) as queries:
        shop.weigh(planned, 0, shelf.lots[2], "10 g")
    # Beside them: begin, the walls, and commit.
    work = [q for q in queries if not q["sql"].startswith(("BEGIN", "COMMIT", "select set_config"))]
    assert len(work) == 4


def test_a_batch_of_another_maker_is_not_there(shop: Workshop, shelf: Shelf) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    planned = shop.plan(shelf.formula, "1 kg", planned_for=TODAY + timedelta(days=1))
    with pytest.raises(NotFound):
        other.does(cancel_batch, batch=planned.batch.id, reason="not mine", happened_at=MORNING)
