"""Weighing and weighing back: lots, densities, deviations, maxima, and water."""

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.composition import ToEffect
from formulas.errors import OverMaximum
from formulas.weighing import Weighed, weigh, weigh_back
from ledger.access import acting_as
from ledger.errors import DensityMissing, Invalid, LotExpired, LotNotReleased, NotEnough, NotFound
from ledger.models import Account, Entry
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Shelf, Workshop, on

IN_BATCH = Account.Kind.BATCH


def details_of(shop: Workshop, weighed: Weighed) -> dict[str, Any]:
    """What the weighing's entry keeps."""
    with acting_as(shop.actor):
        details: dict[str, Any] = Entry.objects.get(id=weighed.weighing.entry_id).details
    return details


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
    assert weighed.weighing.overrode == details_of(shop, weighed)["overrode"] == ["last_usable_day"]
    shop.decide(fresh, "quarantine")
    with pytest.raises(LotNotReleased):
        shop.weigh(planned, 0, fresh, "10 g", happened_at=day)
    shop.decide(fresh, "reject")
    with pytest.raises(LotNotReleased, match="rejected"):
        shop.weigh(planned, 0, fresh, "10 g", happened_at=day, deviation="we are out of it")


def test_one_reason_for_several_rules_names_them_all(shop: Workshop) -> None:
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    shop.receive(base, "20 kg", "20.00")
    lot = shop.receive(acid, "1 kg", "20.00", expires_on=date(2025, 5, 10), release=None)
    planned = shop.plan(shop.formula("Gel", [(base, "99"), (acid, ToEffect(D(1), D(1)))]), "1 kg")
    late = {"happened_at": on("2025-05-14"), "deviation": "the only one, tested by hand"}
    weighed = shop.weigh(planned, 1, lot, "11 g", **late)
    rules = ["status", "last_usable_day", "maximum_percent"]
    assert weighed.weighing.overrode == details_of(shop, weighed)["overrode"] == rules


def test_a_reason_where_no_rule_was_in_the_way_is_kept(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "1 kg")
    weighed = shop.weigh(planned, 0, shelf.lots[0], "10 g", deviation="smells stronger than usual")
    assert weighed.weighing.deviation == "smells stronger than usual"
    assert weighed.weighing.overrode == []
    assert "overrode" not in details_of(shop, weighed)


def test_a_newer_lot_is_poured_and_the_older_one_is_named(shop: Workshop, shelf: Shelf) -> None:
    """A plan of 1 kg takes the first two lots; the third is the newer one, and may go in."""
    first, second, third = shelf.lots
    planned = shop.plan(shelf.formula, "1 kg")
    weighed = shop.weigh(planned, 0, third, "10 g")
    assert weighed.earlier is not None
    assert (weighed.earlier.id, weighed.earlier.last_day) == (first.id, first.expires_on)
    assert weighed.weighing.overrode == details_of(shop, weighed)["overrode"] == ["newer_lot"]
    # What was chosen for a line may be poured in any order.
    assert shop.weigh(planned, 0, second, "10 g").earlier is None
    assert shop.weigh(planned, 0, first, "10 g").earlier is None


def test_what_others_were_promised_or_may_not_be_used_is_no_older_lot(
    shop: Workshop, shelf: Shelf
) -> None:
    shop.plan(shelf.formula, "2 kg")
    planned = shop.plan(shelf.formula, "1 kg")
    assert shop.weigh(planned, 0, shelf.lots[2], "10 g").earlier is None
    oil = shop.material("Oil")
    day = date(2025, 6, 1)
    held, fresh = (shop.receive(oil, "1 kg", "9.00", expires_on=day) for _ in range(2))
    other = shop.plan(shop.formula("Oil", [(oil, "100")]), "100 g")
    undated = shop.receive(oil, "1 kg", "9.00")
    shop.decide(held, "hold")
    named = shop.weigh(other, 0, undated, "10 g").earlier
    assert named is not None
    assert named.id == fresh.id


def test_the_batch_is_named_in_capitals_or_not(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "1 kg")
    weighed = shop.does(
        weigh,
        batch=str(planned.batch.id).upper(),
        line=str(planned.lines[0].line.id).upper(),
        lot=str(shelf.lots[2].id).upper(),
        quantity=parse_quantity("10 g"),
        happened_at=MORNING,
    )
    assert weighed.batch.id == planned.batch.id


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
    assert over.weighing.overrode == ["maximum_percent"]


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


def test_a_weighing_takes_few_round_trips(shop: Workshop, shelf: Shelf) -> None:
    planned = shop.plan(shelf.formula, "1 kg")
    with CaptureQueriesContext(connection) as queries:
        shop.weigh(planned, 0, shelf.lots[2], "10 g")
    # Beside them: begin (which sets the walls) and commit. A prepared one, the entry, has no text.
    said = [query["sql"] or "prepared" for query in queries]
    work = [sql for sql in said if not sql.startswith(("BEGIN", "COMMIT"))]
    assert len(work) == 5


def test_a_rejected_lot_can_leave_the_batch(shop: Workshop, shelf: Shelf) -> None:
    lot = shelf.lots[2]
    planned = shop.plan(shelf.formula, "1 kg")
    shop.weigh(planned, 0, lot, "1000 g")
    shop.decide(lot, "reject")
    shop.does(
        weigh_back,
        batch=planned.batch.id,
        lot=lot.id,
        quantity=parse_quantity("1 kg"),
        happened_at=MORNING,
    )
    assert shop.held(lot) == (2600, D("33.54"))
    with pytest.raises(LotNotReleased):
        shop.weigh(planned, 0, lot, "1 g", deviation="it looks well")


def test_nothing_is_weighed_back_off_a_line_of_another_material(shop: Workshop) -> None:
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    lot = shop.receive(base, "1 kg", "1.00")
    planned = shop.plan(shop.formula("Gel", [(base, "99"), (acid, ToEffect(D(1), D(1)))]), "1 kg")
    shop.weigh(planned, 0, lot, "990 g")
    with pytest.raises(Invalid) as refusal:
        shop.does(
            weigh_back,
            batch=planned.batch.id,
            line=planned.lines[1].line.id,
            lot=lot.id,
            quantity=parse_quantity("10 g"),
            happened_at=MORNING,
        )
    assert refusal.value.pointer == "/line"
    assert shop.held(lot, IN_BATCH)[0] == 990
