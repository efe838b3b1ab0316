"""Writing formulas: lines make 100 %, versions are counted, nothing contains itself."""

import threading
import uuid

import psycopg
import pytest
from django.db import IntegrityError, connections

from deploy.embedded import Server
from formulas.access import version_for
from formulas.balances import scale_formula
from formulas.batches import Size
from formulas.composing import write_formula
from formulas.composition import Fixed, ToEffect
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.errors import (
    BalanceNotPositive,
    FormulaCycle,
    OverMaximum,
    PercentNot100,
    SecondBalance,
)
from formulas.models import Formula, FormulaVersion, Line, Phase
from ledger.access import acting_as
from ledger.errors import Invalid, NotFound, Refusal, Stale
from ledger.models import Material
from ledger.quantities import parse_quantity
from tests.factories import TODAY, D, Workshop, open_workshop


def lines_of(shop: Workshop, version: FormulaVersion) -> list[Line]:
    with acting_as(shop.actor):
        return list(version_for(shop.actor, version.formula_id).lines.all())


def constraint_of(error: BaseException) -> str:
    cause = error.__cause__
    assert isinstance(cause, psycopg.Error)
    return cause.diag.constraint_name or ""


def test_the_balance_takes_what_the_others_leave(shop: Workshop) -> None:
    water, oil, acid = (shop.material(name) for name in ("Aqua", "Cetearyl Alcohol", "Citric Acid"))
    written = shop.formula(
        "Lotion",
        [(oil, "12.5"), (acid, ToEffect(D("0.3"), D("0.5"))), (water, "balance")],
        loss="3",
        density="0.98 g/mL",
        shelf_life_days=365,
    )
    oil_line, acid_line, water_line = lines_of(shop, written)
    assert (oil_line.percent, acid_line.percent, water_line.percent) == (
        D("12.5"),
        D("0.3"),
        D("87.2"),
    )
    assert acid_line.max_percent == D("0.5")
    assert (written.number, written.formula.version) == (1, 1)
    made = written.formula.material
    assert (made.name, made.shelf_life_days, made.density) == ("Lotion", 365, D("0.98"))
    assert (made.maker_id, made.cost_class, made.cost_formula) == (
        shop.actor.maker,
        "made",
        "lot",
    )


@pytest.mark.parametrize(
    ("percents", "refused", "pointer"),
    [
        (("60", "39.9"), PercentNot100, "/phases"),
        (("60", "40.000001"), PercentNot100, "/phases"),
        (("100", "balance"), BalanceNotPositive, "/phases/0/lines/1"),
        (("balance", "balance"), SecondBalance, "/phases/0/lines/1"),
        (("0", "100"), Invalid, "/phases/0/lines/0/percent"),
        (
            ("99", ToEffect(D(1), D("0.5"))),
            OverMaximum,
            "/phases/0/lines/1/to_effect/typical_percent",
        ),
    ],
)
def test_lines_that_do_not_make_100(
    shop: Workshop, percents: tuple[str, str], refused: type[Refusal], pointer: str
) -> None:
    first, second = shop.material("Aqua"), shop.material("Glycerin")
    with pytest.raises(refused) as refusal:
        shop.formula("Toner", [(first, percents[0]), (second, percents[1])])
    assert refusal.value.pointer == pointer
    with acting_as(shop.actor):
        assert not Formula.objects.exists()


def test_a_version_without_lines(shop: Workshop) -> None:
    with pytest.raises(PercentNot100):
        shop.does(write_formula, Draft("Nothing", [PhaseDraft("A", [])]))


def test_a_line_names_what_is_there_and_is_weighed(shop: Workshop) -> None:
    bottle = shop.material("Bottle 250 mL", measured_by="count")
    with pytest.raises(Invalid) as counted:
        shop.formula("Odd", [(bottle, "100")])
    assert counted.value.pointer == "/phases/0/lines/0/material"
    other = open_workshop()
    elsewhere = other.material("Glycerin")
    for missing in (
        LineDraft(Fixed(D(100)), material=elsewhere.id),
        LineDraft(Fixed(D(100)), material=uuid.uuid4()),
    ):
        with pytest.raises(NotFound) as refusal:
            shop.does(write_formula, Draft("Odd", [PhaseDraft("A", [missing])]))
        assert refusal.value.pointer == "/phases/0/lines/0/material"
    made = shop.formula("Infusion", [(shop.material("Herb"), "100")])
    with pytest.raises(Invalid, match="name the formula 'Infusion'"):
        shop.formula("Cream", [(made.formula.material, "100")])


def test_what_a_maker_makes_is_hidden_from_the_others(shop: Workshop) -> None:
    made = shop.formula("Secret", [(shop.material("Herb"), "100")])
    other = open_workshop("Mill Bench", coop=shop.coop)
    with acting_as(other.actor):
        assert not Material.objects.filter(id=made.formula.material_id).exists()
        assert not Formula.objects.exists()
        assert not Line.objects.exists()
    with pytest.raises(NotFound):
        other.formula("Copy", [(made, "100")])


def test_a_new_version_leaves_the_old_one_as_it_was(shop: Workshop) -> None:
    water, oil = shop.material("Aqua"), shop.material("Oil")
    first = shop.formula("Lotion", [(water, "80"), (oil, "20")])
    second = shop.next_version(first, [(water, "70"), (oil, "30")], expected=1)
    assert second.number == 2
    with acting_as(shop.actor):
        old = version_for(shop.actor, first.formula_id, 1)
        assert [line.percent for line in old.lines.all()] == [80, 20]
        assert version_for(shop.actor, first.formula_id).number == 2
    with pytest.raises(Stale):
        shop.next_version(first, [(water, "60"), (oil, "40")], expected=1)


def test_a_formula_cannot_contain_itself(shop: Workshop) -> None:
    herb = shop.material("Herb")
    infusion = shop.formula("Infusion", [(herb, "100")])
    extract = shop.formula("Extract", [(infusion, "60"), (herb, "40")])
    cream = shop.formula("Cream", [(herb, "50"), (extract, "50")])
    with pytest.raises(FormulaCycle) as refusal:
        shop.next_version(infusion, [(herb, "90"), (cream, "10")])
    assert refusal.value.pointer == "/phases/0/lines/1/formula"
    assert "Infusion → Cream → Extract → Infusion" in refusal.value.detail
    with pytest.raises(FormulaCycle):
        shop.next_version(infusion, [(infusion, "100")])
    # An old version does not count: what was taken out may now be put in the other way round.
    shop.next_version(extract, [(herb, "100")])
    shop.next_version(infusion, [(extract, "100")])


def raw_line(shop: Workshop, version: FormulaVersion, **columns: object) -> Line:
    return Line(
        coop_id=shop.actor.coop_id,
        maker_id=shop.actor.maker,
        version=version,
        phase=Phase.objects.filter(version=version).first(),
        position=99,
        kind="fixed",
        **columns,
    )


def test_the_database_itself_keeps_100_percent(shop: Workshop) -> None:
    herb = shop.material("Herb")
    made = shop.formula("Infusion", [(herb, "100")])
    with pytest.raises(IntegrityError) as error, acting_as(shop.actor):
        raw_line(shop, made, material=herb, percent=D(1)).save(force_insert=True)
    assert constraint_of(error.value) == "formula_percent_100"
    with pytest.raises(IntegrityError) as error, acting_as(shop.actor):
        FormulaVersion.objects.create(
            coop_id=shop.actor.coop_id,
            maker_id=shop.actor.maker,
            formula=made.formula,
            number=2,
            person_id=shop.actor.person_id,
        )
    assert constraint_of(error.value) == "formula_percent_100"


@pytest.mark.parametrize(
    ("retention", "spent", "loss"), [("1.5", False, "25"), (None, True, "25"), ("1.5", True, "26")]
)
def test_the_database_itself_lets_the_loss_of_an_infusion_follow(
    shop: Workshop, retention: str | None, spent: bool, loss: str
) -> None:
    """Of a tenth that keeps 1.5 g/g the loss is 25 %; nothing is spent in what is no infusion."""
    herb, oil = shop.material("Herb"), shop.material("Oil")
    made = shop.formula("Infusion", [(herb, "10"), (oil, "90")])
    own = {"coop_id": shop.actor.coop_id, "maker_id": shop.actor.maker}

    def write_past_the_checks() -> None:
        version = FormulaVersion.objects.create(
            **own,
            formula=made.formula,
            number=2,
            process_loss_percent=D(loss),
            retention=retention and D(retention),
            evaporation_percent=retention and D(0),
            person_id=shop.actor.person_id,
        )
        phase = Phase.objects.create(**own, version=version, position=0)
        kept = {**own, "version": version, "phase": phase, "kind": "fixed"}
        Line.objects.bulk_create(
            [
                Line(**kept, position=0, material=herb, percent=D(10), spent=spent),
                Line(**kept, position=1, material=oil, percent=D(90)),
            ]
        )

    with pytest.raises(IntegrityError) as error, acting_as(shop.actor):
        write_past_the_checks()
    assert constraint_of(error.value) == "formula_infusion_follows"


@pytest.mark.parametrize(
    "sql",
    [
        "update formulas_line set percent = 99 where version_id = %s",
        "delete from formulas_line where version_id = %s",
        "update formulas_formulaversion set process_loss_percent = 5 where id = %s",
        "delete from formulas_phase where version_id = %s",
    ],
)
def test_a_version_is_written_once(shop: Workshop, database: Server, sql: str) -> None:
    made = shop.formula("Infusion", [(shop.material("Herb"), "100")])
    with psycopg.connect(database.url_admin) as admin, pytest.raises(psycopg.Error) as error:
        admin.execute(sql, [made.id])
    assert error.value.diag.constraint_name == "rows_are_only_added"


def raw_version(shop: Workshop, formula: Formula, component: Formula) -> None:
    """The next version of a formula, written past the verb that checks it."""
    own = {"coop_id": shop.actor.coop_id, "maker_id": shop.actor.maker}
    with acting_as(shop.actor):
        version = FormulaVersion.objects.create(
            **own, formula=formula, number=2, person_id=shop.actor.person_id
        )
        Phase.objects.create(**own, version=version, position=0)
        raw_line(shop, version, component=component, percent=D(100)).save(force_insert=True)


def test_the_database_itself_refuses_a_cycle(shop: Workshop) -> None:
    herb = shop.material("Herb")
    infusion = shop.formula("Infusion", [(herb, "100")])
    cream = shop.formula("Cream", [(infusion, "100")])
    with pytest.raises(IntegrityError) as error:
        raw_version(shop, infusion.formula, cream.formula)
    assert constraint_of(error.value) == "formula_cycle"


def test_versions_only_count_up(shop: Workshop) -> None:
    made = shop.formula("Infusion", [(shop.material("Herb"), "100")])
    with pytest.raises(IntegrityError) as error, acting_as(shop.actor):
        Formula.objects.filter(id=made.formula_id).update(version=7)
    assert constraint_of(error.value) == "formula_next_version"


def test_two_changes_at_once_cannot_make_a_cycle_together(shop: Workshop) -> None:
    herb = shop.material("Herb")
    first = shop.formula("Infusion", [(herb, "100")])
    second = shop.formula("Extract", [(herb, "100")])
    barrier, refused = threading.Barrier(2), []

    def change(one: FormulaVersion, other: FormulaVersion) -> None:
        try:
            barrier.wait(10)
            shop.next_version(one, [(other, "100")])
        except FormulaCycle as refusal:
            refused.append(refusal)
        finally:
            connections.close_all()

    pairs = [(first, second), (second, first)]
    threads = [threading.Thread(target=change, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert len(refused) == 1


def test_scaling_to_the_gram(shop: Workshop) -> None:
    """The numbers of the scaling example in the trade sheet: 16 088.66 g for 60 bottles."""
    glycerin = shop.material("Glycerin", density="1.26 g/mL")
    herb = shop.material("Calendula Officinalis Flower")
    glycerite = shop.formula("Glycerite", [(herb, "10"), (glycerin, "90")], loss="25")
    shop.receive(glycerin, "1 kg", "11.55")
    rest = shop.water()
    bulk = shop.formula(
        "Shampoo",
        [(rest, "balance"), (glycerin, "5"), (glycerite, "3")],
        loss="3",
        density="1.02 g/mL",
    )
    needs = shop.does(
        scale_formula,
        formula=bulk.formula_id,
        size=Size(output=parse_quantity("15606 g")),
        day=TODAY,
    )
    assert needs.scaled.batch_grams == D("16088.66")
    assert sum(line.grams for line in needs.lines) == D("16088.66")
    found = {need.material.name: need for need in needs.materials}
    assert found["Calendula Officinalis Flower"].quantity == D("64.35")
    assert found["Glycerin"].quantity == D("1383.62")
    assert found["Glycerin"].millilitres == D("1098.11")
    assert (found["Glycerin"].available, found["Glycerin"].short) == (D(1000), D("383.62"))
    assert found["Aqua"].short == 0
