"""Using up the rest of a lot: the line is split, the water corrected, each lot costed by itself."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest

from formulas.access import batches_of, with_details
from formulas.alternates import AlternateDraft
from formulas.bench import bench_of
from formulas.composing import new_version, write_formula
from formulas.composition import Balance, Fixed
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.errors import BalanceTooSmall, NotAnAlternate
from formulas.models import FormulaVersion
from formulas.planning import Planned
from formulas.repicking import reserve_again
from formulas.shares import Chosen, shares_of
from formulas.topping_up import top_up
from formulas.undoing import undo
from formulas.weighed_out import with_weighed_out
from formulas.weighing import weigh_back
from ledger.access import acting_as
from ledger.errors import Invalid, LotExpired, LotNotReleased
from ledger.issuing import Taken, issue
from ledger.models import Account, Lot, Material, Shortfall
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Workshop

IN_BATCH = Account.Kind.BATCH


@dataclass(frozen=True)
class Wash:
    """A wash of 15 % paste (70 % active), whose alternate is a grade of 28 %; 52 % water."""

    paste: Material
    grade: Material
    oil: Material
    formula: FormulaVersion
    left: Lot
    other: Lot
    planned: Planned


def draft(paste: Material, grade: Material, oil: Material, water: Material) -> Draft:
    alternates = [AlternateDraft(grade.id, D(28))]
    lines = [
        LineDraft(Balance(), material=water.id),
        LineDraft(Fixed(D(15)), paste.id, active_percent=D(70), alternates=alternates),
        LineDraft(Fixed(D(33)), material=oil.id),
    ]
    return Draft(name="Wash", phases=[PhaseDraft("A", lines)])


@pytest.fixture
def wash(shop: Workshop) -> Wash:
    paste = shop.material("SLES 70", inci_name="Sodium Laureth Sulfate", cost_formula="lot")
    grade = shop.material(
        "SLES 28",
        inci_name="Sodium Laureth Sulfate",
        cost_formula="lot",
        max_percent=D("16.5"),
    )
    oil, water = shop.material("Glycerin"), shop.water()
    left = shop.receive(paste, "10 kg", "59.00")
    shop.does(
        issue,
        lines=[Taken(left.id, parse_quantity("9180 g"))],
        purpose="gift",
        reason="to a neighbour",
        happened_at=MORNING,
    )
    other = shop.receive(grade, "5 kg", "11.75")
    shop.receive(oil, "20 kg", "20.00")
    formula = shop.does(write_formula, draft(paste, grade, oil, water))
    return Wash(paste, grade, oil, formula, left, other, shop.plan(formula, "10 kg"))


def line_of(wash: Wash, place: int = 1) -> Any:
    return wash.planned.lines[place].line


def do(shop: Workshop, wash: Wash, **facts: Any) -> Any:
    facts = {"line": line_of(wash).id, "lot": wash.left.id, **facts}
    return shop.does(top_up, batch=wash.planned.batch.id, **facts)


def wanted(shop: Workshop, wash: Wash) -> list[tuple[str, Any]]:
    with acting_as(shop.actor):
        return [(one.material.name, one.grams) for one in shares_of(wash.planned.batch)]


def picked(shop: Workshop, wash: Wash, place: int = 1) -> tuple[list[tuple[Any, Any]], Any]:
    with acting_as(shop.actor):
        batch = with_details(batches_of(shop.actor)).get(id=wash.planned.batch.id)
        row = next(line for line in batch.lines.all() if line.position == place)
        lots = Chosen.of(batch)
        return [(one.lot_id, one.quantity) for one in lots.picks(row)], lots.short(row)


def test_the_line_is_split_and_the_water_gives_way(shop: Workshop, wash: Wash) -> None:
    assert line_of(wash).short == 680
    done = do(shop, wash)
    assert (done.made_up.kept, done.made_up.other, done.made_up.brought) == (820, 1700, 1020)
    assert (done.balance.grams, done.balance_grams) == (5200, 4180)
    assert (done.cost.kept, done.cost.other, done.cost.total) == (
        D("4.838"),
        D("3.995"),
        D("8.833"),
    )
    assert done.cost.planned == D("8.85")
    assert "SLES 28 comes to 17 % of this batch" in done.cautions[-1].text
    assert done.short == 0
    assert wanted(shop, wash) == [
        ("Aqua", 4180),
        ("SLES 70", 820),
        ("SLES 28", 1700),
        ("Glycerin", 3300),
    ]
    assert picked(shop, wash) == ([(wash.left.id, 820), (wash.other.id, 1700)], 0)
    assert (shop.reserved(wash.left), shop.reserved(wash.other)) == (820, 1700)
    with acting_as(shop.actor):
        assert [one.quantity for one in Shortfall.objects.all()] == []


def test_what_is_wholly_replaced_is_waited_for_no_more(shop: Workshop, wash: Wash) -> None:
    """1,500 g of 70 % are 1,050 g active, which are 3,750 g of 28 %."""

    def stands() -> tuple[list[Any], int, bool]:
        bench = shop.does(bench_of, wash.planned.batch.id)
        rows: Any = shop.does(lambda actor: list(with_weighed_out(batches_of(actor))))
        turns = [(one.share.material.name, one.share.grams) for one in bench.turns]
        return turns, bench.settled, rows[0].weighed_out

    do(shop, wash, lot=None, material=wash.grade.id)
    assert ("SLES 70", 0) in wanted(shop, wash)
    turns = [("Aqua", 2950), ("SLES 28", 3750), ("Glycerin", 3300)]
    assert stands() == (turns, 0, False)
    shop.weigh(wash.planned, 0, None, "2950 g")
    shop.weigh(wash.planned, 1, wash.other, "3750 g")
    assert stands() == (turns, 2, False)
    shop.weigh(wash.planned, 2, shop.lot_of(wash.planned, 2), "3300 g")
    assert stands() == (turns, 3, True)


def test_both_lots_are_weighed_costed_and_given_back_by_themselves(
    shop: Workshop, wash: Wash
) -> None:
    with pytest.raises(Invalid, match="plan a top-up first"):
        shop.weigh(wash.planned, 1, wash.other, "1700 g")
    do(shop, wash)
    assert shop.weigh(wash.planned, 1, wash.left, "820 g").value == D("4.838")
    weighed = shop.weigh(wash.planned, 1, wash.other, "1700 g")
    assert weighed.value == D("3.995")
    assert not weighed.weighing.overrode
    assert (shop.reserved(wash.left), shop.reserved(wash.other)) == (0, 0)
    back = shop.does(
        weigh_back,
        batch=wash.planned.batch.id,
        lot=wash.other.id,
        line=line_of(wash).id,
        quantity=parse_quantity("200 g"),
        happened_at=MORNING,
    )
    assert back.line == line_of(wash)
    # It is wanted there still, so it is promised again.
    assert shop.reserved(wash.other) == 200
    again = shop.weigh(wash.planned, 1, wash.other, "200 g")
    shop.does(undo, entry=again.weighing.entry_id, reason="a slip", happened_at=MORNING)
    assert shop.reserved(wash.other) == 200
    assert shop.held(wash.other, IN_BATCH)[0] == 1500


def test_what_no_top_up_put_on_the_line_needs_a_reason(shop: Workshop, wash: Wash) -> None:
    (oil_lot,) = {pick.lot_id for pick in wash.planned.lines[2].picks}
    with acting_as(shop.actor):
        lot = Lot.objects.get(id=oil_lot)
    with pytest.raises(Invalid, match="this line wants SLES 70") as refusal:
        shop.weigh(wash.planned, 1, lot, "5 g")
    assert refusal.value.pointer == "/lot"
    done = shop.weigh(wash.planned, 1, lot, "5 g", deviation="the paste would not melt")
    assert done.weighing.overrode == ["line_material"]


def test_after_the_lot_was_poured_the_rest_is_made_up(shop: Workshop, wash: Wash) -> None:
    """The drum turns out to be empty after 500 g: 1,000 g of paste are 2,500 g of the grade."""
    shop.weigh(wash.planned, 1, wash.left, "500 g")
    done = do(shop, wash, lot=None, material=wash.grade.id)
    assert (done.made_up.kept, done.made_up.other, done.made_up.brought) == (0, 2500, 1500)
    assert wanted(shop, wash)[:3] == [("Aqua", 3700), ("SLES 70", 500), ("SLES 28", 2500)]
    assert shop.reserved(wash.left) == 0
    assert done.cost.planned is None


def test_with_another_lot_of_the_same_material_nothing_changes_but_the_lots(
    shop: Workshop, wash: Wash
) -> None:
    early = shop.receive(wash.paste, "5 kg", "30.00", expires_on=date(2025, 12, 31))
    late = shop.receive(wash.paste, "5 kg", "30.00", expires_on=date(2026, 12, 31))
    done = do(shop, wash, other_lot=late.id)
    assert (done.made_up.other, done.made_up.brought, done.cautions) == (680, 0, ())
    assert picked(shop, wash) == ([(wash.left.id, 820), (late.id, 680)], 0)
    assert shop.reserved(early) == 0
    assert (done.cost.kept, done.cost.other) == (D("4.838"), D("4.08"))
    assert dict(wanted(shop, wash))["SLES 70"] == 1500


def test_what_is_refused(shop: Workshop, wash: Wash) -> None:
    batch = wash.planned.batch.id
    with pytest.raises(NotAnAlternate):
        do(shop, wash, material=wash.oil.id)
    quarantined = shop.receive(wash.grade, "5 kg", "1.00", release=None)
    with pytest.raises(LotNotReleased):
        do(shop, wash, other_lot=quarantined.id)
    old = shop.receive(
        wash.grade, "5 kg", "1.00", at=MORNING.replace(month=1), expires_on=date(2025, 5, 5)
    )
    with pytest.raises(LotExpired):
        do(shop, wash, other_lot=old.id)
    with pytest.raises(Invalid, match="does not want"):
        do(shop, wash, lot=wash.other.id)
    oil = line_of(wash, 2)
    with pytest.raises(Invalid, match="has no alternates"):
        shop.does(top_up, batch=batch, line=oil.id)
    with pytest.raises(Invalid, match="not stocked"):
        shop.does(top_up, batch=batch, line=line_of(wash, 0).id)
    shop.weigh(wash.planned, 0, None, "5000 g")
    with pytest.raises(BalanceTooSmall) as refusal:
        do(shop, wash)
    assert refusal.value.facts["left"] == 200
    assert wanted(shop, wash)[0] == ("Aqua", 5200)


def test_a_lot_with_enough_needs_no_top_up(shop: Workshop, wash: Wash) -> None:
    drum = shop.receive(wash.paste, "5 kg", "30.00")
    with pytest.raises(Invalid, match="nothing to make up"):
        do(shop, wash, lot=drum.id)


def test_alternates_stay_with_the_version(shop: Workshop, wash: Wash) -> None:
    plain = shop.draft("Wash", [(wash.paste, "15"), (wash.oil, "85")])
    shop.does(new_version, formula=wash.formula.formula_id, expected_version=None, draft=plain)
    assert do(shop, wash).made_up.other == 1700


def test_alternates_that_cannot_stand_in(shop: Workshop) -> None:
    paste, grade, jar = (
        shop.material("Paste"),
        shop.material("Grade"),
        shop.material("Jar", measured_by="count"),
    )
    made = shop.formula("Base", [(paste, "100")])
    for alternates, active, match in (
        ([AlternateDraft(paste.id)], None, "already"),
        ([AlternateDraft(grade.id), AlternateDraft(grade.id)], None, "already"),
        ([AlternateDraft(jar.id)], None, "counted"),
        ([AlternateDraft(grade.id, D(28))], None, "one to one"),
        ([AlternateDraft(grade.id)], D(70), "one to one"),
        ([AlternateDraft(made.formula.material_id)], None, "is made"),
    ):
        line = LineDraft(Fixed(D(100)), paste.id, active_percent=active, alternates=alternates)
        with pytest.raises(Invalid, match=match) as refusal:
            shop.does(write_formula, Draft(name="X", phases=[PhaseDraft("", [line])]))
        assert refusal.value.pointer.startswith("/phases/0/lines/0/alternates/")


def test_what_has_arrived_is_promised_when_asked_again(shop: Workshop, wash: Wash) -> None:
    late = shop.receive(wash.paste, "1 kg", "6.00")
    assert shop.reserved(late) == 0
    shop.does(reserve_again, batch=wash.planned.batch.id)
    assert shop.reserved(late) == 680
    assert picked(shop, wash) == ([(wash.left.id, 820), (late.id, 680)], 0)


def test_a_line_that_was_weighed_from_another_lot_gives_its_promise_back(
    shop: Workshop, wash: Wash
) -> None:
    late = shop.receive(wash.paste, "5 kg", "30.00")
    shop.weigh(wash.planned, 1, late, "1500 g")
    assert shop.reserved(wash.left) == 820
    shop.does(reserve_again, batch=wash.planned.batch.id)
    assert shop.reserved(wash.left) == 0
    assert picked(shop, wash) == ([], 0)
