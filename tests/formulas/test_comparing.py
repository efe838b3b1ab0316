"""Finished batches beside their standards: what really went in, and few queries for many."""

from datetime import date
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.comparing import compare, finished_between, sum_of, variances_of
from formulas.models import FormulaVersion
from formulas.standards import set_formula_standard
from formulas.undoing import undo
from formulas.weighing import weigh
from ledger.access import acting_as
from ledger.models import Lot
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, D, Workshop

MAY = date(2025, 5, 1)


def oil_and_standard(shop: Workshop) -> tuple[FormulaVersion, Lot]:
    """A formula of oil alone, which costs 10.00 a kilogram and is to cost as much."""
    oil = shop.material("Oil")
    lot = shop.receive(oil, "100 kg", "1000.00")
    version = shop.formula("Base", [(oil, "100")], loss="0")
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=MAY)
    return version, lot


def test_what_the_standard_does_not_list_is_mix(shop: Workshop) -> None:
    """1,000 g of oil and 100 g of wax at 30.00 give 1,000 g, 50 g more are declared lost.

    The whole mix is oil: 1,100 g of it are 11.00, and 1,000 g give what came out: yield 1.00.
    Oil: mix 10.00 - 11.00. Wax: mix 3.00, all that it cost.
    """
    version, _ = oil_and_standard(shop)
    wax = shop.receive(shop.material("Wax"), "1 kg", "30.00")
    planned = shop.plan(version, "1 kg")
    shop.weigh_all(planned)
    shop.does(
        weigh,
        batch=planned.batch.id,
        material=wax.material_id,
        lot=wax.id,
        quantity=parse_quantity("100 g"),
        happened_at=MORNING,
        deviation="the oil was thin",
    )
    done = shop.finish(planned, "1 kg", lost="50 g")
    judged = shop.does(variances_of, planned.batch.id)
    told = judged.variances
    oil, stray = told.materials
    assert judged.names[stray.name] == "Wax"
    assert (oil.price, oil.mix, oil.yielded) == (D(0), D(-1), D(1))
    assert (stray.price, stray.mix, stray.yielded, stray.wanted) == (D(0), D(3), D(0), D(0))
    assert (told.actual, told.standard, told.total) == (D(13), D(10), D(3))
    assert done.cost.abnormal > 0, "it is told beside the variances, and is no part of them"
    assert told.actual == done.cost.inputs


def test_an_undone_finish_is_judged_no_more(shop: Workshop) -> None:
    version, _ = oil_and_standard(shop)
    planned = shop.plan(version, "1 kg")
    shop.weigh_all(planned)
    done = shop.finish(planned, "1 kg")
    with acting_as(shop.actor):
        assert finished_between(shop.actor, TODAY, TODAY).count() == 1
    shop.does(undo, entry=done.making.entry_id, reason="another one", happened_at=MORNING)
    with acting_as(shop.actor):
        assert finished_between(shop.actor, TODAY, TODAY).count() == 0


def test_many_batches_take_as_many_queries_as_one(shop: Workshop) -> None:
    version, _ = oil_and_standard(shop)

    def made(outputs: list[str]) -> tuple[int, Any]:
        for output in outputs:
            planned = shop.plan(version, "1 kg")
            shop.weigh_all(planned)
            shop.finish(planned, output)
        with acting_as(shop.actor), CaptureQueriesContext(connection) as seen:
            rows = finished_between(shop.actor, TODAY, TODAY)
            compare(shop.actor, rows)
            return len(seen), sum_of(shop.actor, rows)

    one, _ = made(["1 kg"])
    many, summed = made(["900 g", "950 g", "980 g"])
    assert many == one
    assert (summed.batches, summed.without_standard) == (4, 0)
    # 100 g, 50 g and 20 g less came out than the standard says, at 10.00 a kilogram.
    assert summed.parts["yield"] == summed.actual - summed.standard == D("1.7")
