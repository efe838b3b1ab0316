"""What the finished batches of a formula teach about its next one, in one query."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.access import batches_of, with_details
from formulas.alternates import AlternateDraft
from formulas.composing import write_formula
from formulas.composition import Balance, ToEffect
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.learning import Learned, Spread
from formulas.past_effects import learned_for
from formulas.topping_up import top_up
from ledger.access import acting_as
from tests.factories import D, Lines, Workshop


def test_the_next_batch_is_offered_what_the_last_ones_came_to(shop: Workshop) -> None:
    """30, 10 and 20 g beside 970, 990 and 980 g."""
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    lots = [shop.receive(one, "20 kg", "20.00") for one in (base, acid)]
    lines: Lines = [(base, "balance"), (acid, ToEffect(D(2), D(5)))]
    formula = shop.formula("Gel", lines)
    for place, grams in enumerate((30, 10, 20)):
        if place == 2:
            formula = shop.next_version(formula, lines)
        planned = shop.plan(formula, "1 kg")
        shop.weigh(planned, 0, lots[0], f"{1000 - grams} g")
        shop.weigh(planned, 1, lots[1], f"{grams} g")
        shop.finish(planned, "1 kg")
    other = shop.plan(shop.formula("Other gel", lines), "1 kg")
    shop.weigh(other, 1, lots[1], "40 g")
    shop.finish(other, "40 g")
    planned = shop.plan(formula, "1 kg")
    with acting_as(shop.actor):
        batch = with_details(batches_of(shop.actor)).get(id=planned.batch.id)
        with CaptureQueriesContext(connection) as queries:
            taught = learned_for(batch)
    assert taught == {acid.id: Learned(3, D(2), Spread.RANGE, D(1), D(3))}
    assert len(queries) == 1, "however many batches there are"


def test_a_batch_with_nothing_to_effect_asks_nothing(shop: Workshop) -> None:
    base = shop.material("Base")
    planned = shop.plan(shop.formula("Oil", [(base, "100")]), "1 kg")
    with acting_as(shop.actor):
        batch = with_details(batches_of(shop.actor)).get(id=planned.batch.id)
        with CaptureQueriesContext(connection) as queries:
            assert learned_for(batch) == {}
    assert len(queries) == 0


def test_what_stood_in_counts_by_its_active_matter(shop: Workshop) -> None:
    """10 g of 80 % and 20 g of 40 % in a kilogram are as much as 20 g of 80 %: 2 percent."""
    base, acid = shop.material("Base"), shop.material("Lactic Acid 80")
    weak = shop.material("Lactic Acid 40")
    lots = [shop.receive(one, "20 kg", "20.00") for one in (base, acid, weak)]
    to_effect = LineDraft(
        ToEffect(D(2), D(5)),
        material=acid.id,
        active_percent=D(80),
        alternates=[AlternateDraft(weak.id, D(40))],
    )
    draft = Draft("Gel", [PhaseDraft("A", [LineDraft(Balance(), material=base.id), to_effect])])
    formula = shop.does(write_formula, draft)
    planned = shop.plan(formula, "1 kg")
    shop.weigh(planned, 1, lots[1], "10 g")
    line = planned.lines[1].line.id
    shop.does(top_up, batch=planned.batch.id, line=line, other_lot=lots[2].id)
    shop.weigh(planned, 1, lots[2], "20 g")
    shop.weigh(planned, 0, lots[0], "970 g")
    shop.finish(planned, "1 kg")
    planned = shop.plan(formula, "1 kg")
    with acting_as(shop.actor):
        taught = learned_for(with_details(batches_of(shop.actor)).get(id=planned.batch.id))
    assert taught[acid.id].median == 2
