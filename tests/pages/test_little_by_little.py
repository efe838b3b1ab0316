"""What goes in to effect little by little: its lot, what is taken back, its workings."""

import pytest
from django.test import Client

from formulas.composition import ToEffect
from formulas.models import Weighing
from formulas.planning import Planned
from tests.factories import D, Workshop
from tests.pages.browsing import done, sent, shown, typed_in


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


@pytest.fixture
def oil(shop: Workshop) -> Planned:
    """1 kg of an oil with 20 g of scent in store, of which at most 2 % go in to effect."""
    base, scent = shop.material("Olive oil"), shop.material("Lavender oil")
    shop.receive(base, "10 kg", "50.00")
    shop.receive(scent, "12 g", "9.00")
    shop.receive(scent, "8 g", "9.00")
    most = ToEffect(typical_percent=D("1"), max_percent=D("2"))
    planned = shop.plan(shop.formula("Oil", [(base, "99"), (scent, most)]), "1 kg")
    shop.weigh(planned, 0, shop.lot_of(planned, 0), "990 g")
    return planned


def bench_of(planned: Planned) -> str:
    return f"/batches/{planned.batch.id}/bench"


def test_the_lot_stays_while_some_is_left_of_it(
    shop: Workshop, client: Client, oil: Planned
) -> None:
    bench, line, lot = bench_of(oil), str(oil.lines[1].line.id), shop.lot_of(oil, 1)
    assert typed_in(client, bench, "quantity")["lot"] == ""
    # Spaces and case do not matter in a code.
    code = f" {lot.code[:2].lower()} {lot.code[2:]}"
    page = f"{bench}?line={line}&after=1"
    done(client, bench, line=line, lot=code, quantity="5")
    assert typed_in(client, page, "quantity")["lot"] == lot.code
    done(client, bench, line=line, lot=lot.code, quantity="7")
    assert typed_in(client, page, "quantity")["lot"] == "", "nothing is left of it"


def test_what_was_taken_back_is_told(shop: Workshop, client: Client, oil: Planned) -> None:
    bench, line, lot = bench_of(oil), oil.lines[1].line, shop.lot_of(oil, 1)
    done(client, bench, line=str(line.id), lot=lot.code, quantity="5")
    rows = Weighing.objects.filter(batch=oil.batch, line=line)
    (entry,) = shop.does(lambda actor: list(rows.values_list("entry_id", flat=True)))
    about = {"do": "undo", "entry": str(entry), "reason": "the wrong bottle"}
    assert f"Taken back: 5 g Lavender oil, {lot.code}." in plain(done(client, bench, **about))
    again = sent(client, f"{bench}?undone={entry}", line=str(line.id), lot=lot.code, quantity="x")
    assert again.status_code == 422
    assert "Taken back" not in shown(again), "it is not told once more of what was refused"
    other = client.get(f"{bench}?undone={oil.batch.id}")
    assert "Taken back" not in shown(other)


def test_target_tolerance_and_headroom_open_to_their_working(
    shop: Workshop, client: Client, oil: Planned
) -> None:
    share = f"/batches/{oil.batch.id}/share"

    def opened(place: int, figure: str) -> str:
        line = oil.lines[place].line
        to = f"{share}?line={line.id}&material={line.material_id}&figure={figure}"
        page = client.get(f"{bench_of(oil)}?line={line.id}").content.decode()
        assert to.replace("&", "&amp;") in page, figure
        return plain(shown(client.get(to)))

    shop.weigh(oil, 1, shop.lot_of(oil, 1), "5 g")
    # 2 of 98 parts of 990 g are 20.204 g.
    told = opened(1, "headroom")
    assert "May still go in 15.2 g" in told
    assert "20.204081 g" in told
    assert "2 % ÷ (100 % - 2 %) · 990 g" in told
    other = shop.plan(oil.batch.version, "500 g")
    shop.weigh(other, 0, shop.lot_of(other, 0), "95 g")
    oil = other
    share = f"/batches/{oil.batch.id}/share"
    told = opened(0, "still")
    assert "Still wanted of Olive oil 400 g" in told
    assert "less what is in so far -95 g" in told
    assert "4.95 g" in opened(0, "tolerance")
