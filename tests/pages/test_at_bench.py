"""At the bench: what is asked, shown and cautioned while a batch is made, worked by hand."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.test import Client

from formulas.composing import write_formula
from formulas.composition import ToEffect
from formulas.judging import Measure, read_window
from formulas.models import Weighing
from formulas.planning import Planned
from ledger.models import Material
from tests.factories import TODAY, D, Workshop
from tests.pages.browsing import done, refused, shown


def bench_of(planned: Planned) -> str:
    return f"/batches/{planned.batch.id}/bench"


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def gel(shop: Workshop, acid: Material, base: Material) -> Planned:
    """12 kg of a gel with acid to effect, at most 0.5 %, and a window for its pH."""
    draft = shop.draft("Gel", [(base, "balance"), (acid, ToEffect(D("0.3"), D("0.5")))])
    (phase,) = draft.phases
    cool = replace(phase.lines[1], max_celsius=D(40))
    windows = [read_window(Measure.PH, target="5.2", low="4.8", high="5.4")]
    windows.append(read_window(Measure.VISCOSITY, high="5000 mPa.s"))
    phases = [replace(phase, lines=[phase.lines[0], cool])]
    version = shop.does(write_formula, replace(draft, phases=phases, windows=windows))
    return shop.plan(version, "12 kg")


def test_why_not_the_older_lot_is_asked_once(shop: Workshop, client: Client) -> None:
    oil = shop.material("Sesame oil")
    days = (date(2099, 1, 31), date(2099, 6, 30))
    old, new = (shop.receive(oil, "1 kg", "9.00", expires_on=day) for day in days)
    planned = shop.plan(shop.formula("Sesame oil", [(oil, "100")]), "100 g")
    bench, line = bench_of(planned), str(planned.lines[0].line.id)
    typed = {"line": line, "lot": new.code, "quantity": "10"}
    page = refused(client, bench, **typed)
    assert f"{old.code} is good until 31 Jan 2099. Why not that one first?" in plain(page)
    done(client, bench, **typed, sure="on")
    done(client, bench, **typed, deviation="the old one was out of reach")
    register = shown(client.get(f"/deviations?batch={planned.batch.id}&kind=newer_lot"))
    assert register.count("an older lot was in store") == 3  # twice kept, and once to choose from
    assert "the old one was out of reach" in register
    assert "Why not" not in done(client, bench, line=line, lot=old.code, quantity="10")


def test_what_is_added_to_effect_is_told_with_its_share_its_window_and_its_heat(
    shop: Workshop, client: Client
) -> None:
    base, acid = shop.material("Gel base"), shop.material("Lactic acid")
    stuff = shop.receive(base, "50 kg", "50.00")
    sour = shop.receive(acid, "1 kg", "9.00")
    before = gel(shop, acid, base)
    shop.weigh_all(before)
    shop.finish(before, "12 kg")
    planned = shop.plan(before.batch.version, "12 kg")
    shop.weigh(planned, 0, stuff, "11964 g")
    bench, line = bench_of(planned), str(planned.lines[1].line.id)
    page = plain(shown(client.get(f"{bench}?line={line}")))
    assert "pH, 4.8 to 5.4, best 5.2 not measured yet" in page
    # The one batch before had 36 of 12,000 g.
    assert "In other batches it came to 0.3 %, here 36 g. One batch so far" in page
    assert "No temperature of the batch was kept yet" in page
    typed = {"line": line, "lot": sour.code, "quantity": "24"}
    assert "it may be at 40 °C at most" in plain(refused(client, bench, **typed))
    measured = {"do": "measure", "measure": "temperature", "value": "30 degC"}
    done(client, bench, **measured)
    page = plain(done(client, bench, **typed))
    # 24 of 11,988 g.
    assert "Now it is 0.2 % of what is in the pot; at the end at most 0.5 %" in page
    assert "measured last at 30 °C" in page
    page = plain(done(client, bench, do="measure", measure="ph", value="5.9"))
    assert "Kept: pH 5.9. above what is wanted" in page
    assert "The pH is outside its window" in page
    page = plain(done(client, bench, do="measure", measure="viscosity", value="6000 cP"))
    assert "What was measured lies outside what the formula wants" in page
    page = plain(done(client, bench, do="measure", measure="ph", value="5.3"))
    assert "Kept: pH 5.3. as wanted" in page
    for path in (bench.removesuffix("/bench"), f"/formulas/{planned.batch.version.formula_id}"):
        assert "What is to be measured of it" in shown(client.get(path))


def test_what_no_line_lists_dilutes_the_preservative(shop: Workshop, client: Client) -> None:
    """120 g of 12,000 are 1 %; with 36 g and 62 g more they are 0.9919 % of 12,098 g."""
    keeps: dict[str, Any] = {
        "cautions": ["preservative"],
        "min_percent": D(1),
        "max_percent": D("1.2"),
    }
    base, guard = shop.material("Washing base"), shop.material("Guard", **keeps)
    salt = shop.receive(shop.material("Sea salt"), "1 kg", "3.00")
    stuff = shop.receive(base, "50 kg", "50.00")
    kept = shop.receive(guard, "1 kg", "90.00")
    planned = shop.plan(shop.formula("Wash", [(base, "99"), (guard, "1")]), "12 kg")
    bench = bench_of(planned)
    shop.weigh(planned, 0, stuff, "11880 g")
    # As long as the guard is wanted and not in yet, it counts with what is wanted of it.
    other = {"do": "add", "add-lot": salt.code, "add-reason": "too thin"}
    page = plain(done(client, bench, **other, **{"add-quantity": "36"}))
    assert "Something went in that the formula does not list" in page
    assert "Needs a challenge test" in page
    assert "Guard: 0.997 %, at least 1 %" in page
    shop.weigh(planned, 1, kept, "120 g")
    assert "Guard: 0.9919 %" in plain(done(client, bench, **other, **{"add-quantity": "62"}))
    assert "Guard: 0.9919 %" in plain(shown(client.get(bench.replace("bench", "finish"))))


def test_what_went_into_another_batch_is_not_taken_back_here(
    shop: Workshop, client: Client
) -> None:
    oil = shop.material("Rice oil")
    shop.receive(oil, "2 kg", "9.00")
    version = shop.formula("Rice balm", [(oil, "100")])
    made, other = shop.plan(version, "500 g"), shop.plan(version, "500 g")
    for planned in (made, other):
        shop.weigh_all(planned)
    weighings = Weighing.objects.filter(batch=made.batch)
    (entry,) = shop.does(lambda actor: list(weighings.values_list("entry_id", flat=True)))
    about = {"do": "undo", "entry": str(entry), "reason": "the wrong pot"}
    assert "no such thing" in refused(client, bench_of(other), **about)
    done(client, bench_of(made), **about)


def test_a_batch_names_the_lots_that_were_poured(shop: Workshop, client: Client) -> None:
    """The older lot was chosen and another poured: once it is in, nothing is of the older one."""
    oil = shop.material("Apricot oil")
    chosen, poured = (shop.receive(oil, "1 kg", "9.00") for _ in range(2))
    planned = shop.plan(shop.formula("Apricot oil", [(oil, "100")]), "100 g")
    page = f"/batches/{planned.batch.id}"

    def codes(answer: Any) -> list[bool]:
        told = shown(answer).partition("What was weighed in")[0]
        return [lot.code in told for lot in (chosen, poured)]

    def named() -> list[list[bool]]:
        return [codes(client.get(page)), codes(client.get(f"{page}?as=csv"))]

    assert named() == [[True, False]] * 2
    shop.weigh(planned, 0, poured, "60 g")
    assert named() == [[True, True]] * 2, "40 g are still promised of the one that was chosen"
    shop.weigh(planned, 0, poured, "40 g")
    assert named() == [[False, True]] * 2
    shop.finish(planned, "99 g")
    assert named() == [[False, True]] * 2
    told = done(client, page, do="reopen", reason="not cold yet").partition("What was weighed")[0]
    # Of neither lot is a date known: the caution names the one that is in.
    assert "Nobody knows until when this lot is good" in told
    assert [chosen.code in told, poured.code in told] == [False, True]


def test_why_it_was_added_is_no_excuse_for_a_lot(shop: Workshop, client: Client) -> None:
    """What is past its day, in quarantine or on hold asks for a reason of its own."""
    base, salt = shop.material("Shower base"), shop.material("Sea salt")
    shop.receive(base, "5 kg", "9.00")
    stale = shop.receive(salt, "1 kg", "3.00", expires_on=TODAY + timedelta(days=30))
    waiting, held = (shop.receive(salt, "1 kg", "3.00", release=None) for _ in range(2))
    shop.decide(held, "hold")
    planned = shop.plan(shop.formula("Shower gel", [(base, "100")]), "1 kg")
    bench = bench_of(planned)
    why = {"do": "add", "add-quantity": "3", "add-reason": "too thin"}
    for lot, rule in ((stale, "may be used until"), (waiting, "quarantine"), (held, "on hold")):
        told = plain(refused(client, bench, **why, **{"add-lot": lot.code}))
        assert f"The lot {lot.code}" in told
        assert rule in told
    kept = {**why, "add-lot": stale.code, "add-deviation": "tested again today"}
    done(client, bench, **kept)
    register = shown(client.get(f"/deviations?batch={planned.batch.id}"))
    assert "too thin; tested again today" in register
    assert "the lot was past its day" in register
    (row,) = shop.does(lambda actor: list(Weighing.objects.filter(batch=planned.batch)))
    assert row.overrode == ["last_usable_day", "not_in_formula"]


def test_an_approval_of_rework_is_no_excuse_for_its_day(shop: Workshop, client: Client) -> None:
    """It lets in what nobody released, and not what is past its day."""
    base = shop.material("Cream base")
    shop.receive(base, "50 kg", "90.00")
    draft = shop.draft("Cream", [(base, "100")], shelf_life_days=10)
    made = shop.does(write_formula, replace(draft, rework_max_percent=D(10)))
    old = shop.made_lot(made, "1000")
    planned = shop.plan(made, "5 kg")
    path = f"/batches/{planned.batch.id}/rework"
    typed = {"lot": old.code, "quantity": "100", "approval": "owner, after a look"}
    assert "may be used until" in refused(client, path, **typed)
    assert "In: 100" in plain(done(client, path, **typed, deviation="smells as new"))
