"""A batch before its end: whether all is in, what was not measured, and what its form asks for."""

from dataclasses import replace
from typing import Any

import pytest
from django.test import Client

from formulas.access import batches_of
from formulas.bench import bench_of
from formulas.composing import write_formula
from formulas.composition import ToEffect
from formulas.enough import say_enough
from formulas.judging import Measure, read_window
from formulas.planning import Planned
from formulas.weighed_out import with_weighed_out
from tests.factories import MORNING, D, Workshop
from tests.pages.browsing import done, refused, shown


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


@pytest.fixture
def gel(shop: Workshop) -> Planned:
    """1 kg of a gel whose acid goes in to effect, and whose pH is to be 4.8 to 5.6."""
    base, acid = shop.material("Gel base"), shop.material("Lactic acid")
    shop.receive(base, "50 kg", "50.00")
    shop.receive(acid, "1 kg", "9.00")
    draft = shop.draft("Gel", [(base, "balance"), (acid, ToEffect(D("1"), D("2")))])
    windows = [read_window(Measure.PH, low="4.8", high="5.6")]
    return shop.plan(shop.does(write_formula, replace(draft, windows=windows)), "1 kg")


def page_of(planned: Planned, name: str = "") -> str:
    return f"/batches/{planned.batch.id}{name}"


def enough(shop: Workshop, planned: Planned, *, found: bool = True) -> None:
    line = planned.lines[1].line.id
    shop.does(say_enough, batch=planned.batch.id, line=line, enough=found, now=MORNING)


def listed(client: Client, planned: Planned) -> list[str]:
    """What Today and the list of batches would have one do with it."""
    today = client.get("/").content.decode().partition(planned.batch.code)[2].partition("</li>")[0]
    batches = client.get("/batches").content.decode().partition(planned.batch.code)[2]
    return [today, batches.partition("</li>")[0]]


def test_a_batch_is_to_be_finished_once_nothing_is_left_to_weigh(
    shop: Workshop, client: Client, gel: Planned
) -> None:
    """What the lists say of it is what the bench says, at every step."""
    bench = page_of(gel, "/bench")

    def steps() -> list[bool]:
        found = shop.does(bench_of, gel.batch.id)
        rows: Any = shop.does(lambda actor: with_weighed_out(batches_of(actor)))
        row = shop.does(lambda actor: rows.get(id=gel.batch.id))
        links = [page_of(gel, "/finish") in one for one in listed(client, gel)]
        return [found.settled == len(found.turns), row.weighed_out, *links]

    no, yes = [False] * 4, [True] * 4
    assert steps() == no
    shop.weigh(gel, 0, shop.lot_of(gel, 0), "980 g")
    assert steps() == no
    shop.weigh(gel, 0, shop.lot_of(gel, 0), "5 g")
    assert steps() == no
    shop.weigh(gel, 1, shop.lot_of(gel, 1), "6 g")
    page = plain(shown(client.get(bench)))
    assert "1 of 2 · to effect, still open: Lactic acid" in page
    assert steps() == no
    enough(shop, gel)
    assert "2 of 2" in shown(client.get(bench))
    assert "still open" not in shown(client.get(bench))
    assert steps() == yes
    shop.weigh(gel, 1, shop.lot_of(gel, 1), "1 g")
    assert steps() == no, "more came since"
    told = shown(client.get(page_of(gel, "/finish")))
    assert "Lactic acid goes in to effect, and nobody has said that it is enough" in told


def test_what_was_not_measured_is_told_before_the_end(client: Client, gel: Planned) -> None:
    finish, bench = page_of(gel, "/finish"), page_of(gel, "/bench")
    page = client.get(finish)
    assert "asks for this to be measured: pH, 4.8 to 5.6 not measured yet" in shown(page)
    assert f"{bench}?measure=ph#measure" in page.content.decode()
    opened = client.get(f"{bench}?measure=ph").content.decode()
    assert 'id="measure" open' in opened
    measured = {"do": "measure", "measure": "ph"}
    done(client, bench, **measured, value="6.2")
    assert "pH, 4.8 to 5.6 6.2 above what is wanted" in shown(client.get(finish))
    done(client, bench, **measured, value="5.1")
    assert "to be measured" not in shown(client.get(finish))


def test_bulk_of_no_product_is_not_asked_for_minutes(
    shop: Workshop, client: Client, gel: Planned
) -> None:
    assert "Minutes it took" not in shown(client.get(page_of(gel, "/finish")))
    product = shop.product(gel.batch.version, "50 g")
    filled = shop.plan(product, 4)
    assert "Minutes it took" in shown(client.get(page_of(filled, "/finish")))
    shop.weigh(gel, 0, shop.lot_of(gel, 0), "990 g")
    done(client, page_of(gel, "/finish"), output="980 g", sure="on")


def test_what_is_short_is_told_with_its_unit_as_a_scale_shows_it(
    shop: Workshop, client: Client
) -> None:
    oil = shop.material("Almond oil")
    lot = shop.receive(oil, "206.380589 g", "9.00")
    planned = shop.plan(shop.formula("Almond oil", [(oil, "100")]), "1 kg")
    typed = {"line": str(planned.lines[0].line.id), "lot": lot.code, "quantity": "300"}
    told = plain(refused(client, page_of(planned, "/bench"), **typed))
    assert f"Only 206.38 g of the lot {lot.code} is left" in told
    other = shop.receive(shop.material("Sesame oil"), "1 kg", "9.00")
    told = refused(client, page_of(planned, "/bench"), **{**typed, "lot": other.code})
    assert "weigh it in as something else that goes in" in told


def test_bulk_that_is_too_little_for_its_pieces_is_told_with_units(
    shop: Workshop, client: Client, gel: Planned
) -> None:
    shop.weigh(gel, 0, shop.lot_of(gel, 0), "990 g")
    shop.finish(gel, "980 g")
    product = shop.product(gel.batch.version, "50 g")
    typed = {"product": str(product.id), "units": "30"}
    told = plain(refused(client, page_of(gel, "/fill"), **typed))
    assert "1.5 kg is wanted and only 980 g is there" in told
