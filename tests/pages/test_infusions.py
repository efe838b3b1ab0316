"""An infusion on its pages: written with what it asks for, made, strained out and told apart."""

from typing import Any

import pytest

from formulas.access import version_for
from formulas.batches import Size, plan_batch
from formulas.judging import Measure
from formulas.measurements import windows_of
from formulas.models import FormulaVersion, Making
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.quantities import parse_quantity
from tests.factories import TODAY, D, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in

ROWS = {"lines": "2", "lines-0-amount": "fixed", "lines-1-amount": "balance"}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def version_called(shop: Workshop, name: str) -> FormulaVersion:
    with acting_as(shop.actor):
        id = FormulaVersion.objects.filter(formula__name=name).values_list("formula_id")[0][0]
        return version_for(shop.actor, id)


def planned_of(shop: Workshop, version: FormulaVersion) -> Planned:
    """A kilogram of it."""
    size = Size(batch=parse_quantity("1 kg"))
    return shop.does(plan_batch, formula=version.formula_id, size=size, planned_for=TODAY)


def test_an_infusion_is_written_made_and_told_apart(shop: Workshop) -> None:
    """100 g of herb in 900 g: 1.5 g kept by a gram and 2 % evaporated leave 730 g of 1,000 g.

    240 g are strained out, 5 g spilt, and 725 g come out: 1.4 g kept by a gram, 30 g evaporated.
    """
    herb, oil = shop.material("Calendula"), shop.material("Olive oil")
    lots = [shop.receive(herb, "1 kg", "22.00"), shop.receive(oil, "5 kg", "50.00")]
    client = signed_in(shop)
    typed = {**ROWS, "name": "Calendula oil", "lines-0-name": "Calendula", "lines-0-percent": "10"}
    typed |= {"lines-1-name": "Olive oil", "evaporation_percent": "2"}
    assert "What does a gram of it keep" in refused(client, "/formulas/new", **typed)
    typed |= {"retention": "1.5"}
    asked = sent(client, "/formulas/new", **typed)
    assert "Strained out again" in shown(asked)
    typed |= {"lines-0-spent": "on"}
    typed |= {"ph_low": "6", "ph_high": "5.5", "appearance": "clear and golden"}
    assert "not above the target" in refused(client, "/formulas/new", **typed)
    typed |= {"ph_low": "5", "ph_target": "5.2", "viscosity_high": "5", "fill_within_days": "30"}
    page = plain(done(client, "/formulas/new", **typed))
    assert "usual loss 27 %" in page
    assert "pH 5 to 5.5, best 5.2" in page
    assert "viscosity at most 5 mPa.s" in page
    version = version_called(shop, "Calendula oil")
    assert (version.retention, version.fill_within_days) == (D("1.5"), 30)

    planned = planned_of(shop, version)
    batch = f"/batches/{planned.batch.id}"
    page = plain(shown(client.get(batch)))
    assert "is expected to keep 1.50 g; 2 % of all that goes in evaporates" in page
    for place, (lot, grams) in enumerate(zip(lots, ("100 g", "900 g"), strict=True)):
        shop.weigh(planned, place, lot, grams)
    end = {"output": "725 g", "marc": "240 g", "sample": "10 g", "loss": "5 g"}
    assert "Say how it was lost" in refused(client, f"{batch}/finish", **end)
    page = plain(done(client, f"{batch}/finish", **end, loss_reason="spilt"))
    for row in (
        "Came out 725 g 730 g",
        "Yield 72.5 % 73 %",
        "Strained out, wet 240 g 250 g",
        "Evaporated 30 g 20 g",
        "A gram kept, g of liquid 1.40 1.50",
    ):
        assert row in page
    assert "Expensed, as an unusual loss" in page
    with acting_as(shop.actor):
        lot = Making.objects.select_related("lot").get(batch=planned.batch.id).lot
    assert shop.held(lot)[0] == 715
    assert "240" in client.get(f"{batch}?as=csv&table=steeped").content.decode()


def test_the_next_version_shows_and_keeps_what_the_last_one_asks_for(shop: Workshop) -> None:
    client, version = signed_in(shop), version_called(shop, "Calendula oil")
    path = f"/formulas/{version.formula_id}/next"
    page = client.get(path)
    first = {**page.context["asks"].initial}
    assert (first["retention"], first["ph_target"]) == ("1.5", "5.2")
    kept = {name: value for name, value in first.items() if value}
    done(client, path, **kept)
    after = version_called(shop, "Calendula oil")
    assert (after.number, after.retention, after.process_loss_percent) == (2, D("1.5"), D(27))
    with acting_as(shop.actor):
        after = version_for(shop.actor, after.formula_id)
        assert windows_of(after)[Measure.APPEARANCE].text == "clear and golden"
        assert [line.spent for line in after.lines.all()] == [True, False]
    # Without what it keeps it is no infusion any more, and its loss is typed.
    plainer = {name: value for name, value in kept.items() if name not in ("retention", "version")}
    plainer |= {"version": "2", "evaporation_percent": "", "process_loss_percent": "3"}
    plainer.pop("lines-0-spent")
    done(client, path, **plainer)
    assert version_called(shop, "Calendula oil").process_loss_percent == 3
