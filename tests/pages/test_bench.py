"""A batch on its pages: what is mostly a slip is asked once, and what was done can be read."""

from datetime import date

import pytest
from django.test import Client

from api.pages.finish import FinishForm
from api.pages.reader import Reader
from formulas.composition import ToEffect
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.models import Lot
from tests.factories import D, Workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in

LYE = {"inci_name": "Sodium hydroxide"}


@pytest.fixture
def balm(shop: Workshop) -> Planned:
    """80 g of oil and 20 g of wax, planned and not weighed."""
    oil, wax = shop.material("Sunflower oil"), shop.material("Beeswax")
    shop.receive(oil, "10 kg", "50.00")
    shop.receive(wax, "1 kg", "20.00")
    return shop.plan(shop.formula("Balm", [(oil, "80"), (wax, "20")]), "100 g")


def path_of(planned: Planned) -> str:
    return f"/batches/{planned.batch.id}"


def weighing(shop: Workshop, planned: Planned, place: int, grams: str) -> dict[str, str]:
    """The form of a line, filled with the lot that was picked."""
    line = planned.lines[place].line
    return {"line": str(line.id), "lot": code_of(shop, planned, place), "quantity": grams}


def code_of(shop: Workshop, planned: Planned, place: int) -> str:
    """The code of the lot that was picked for a line."""
    with acting_as(shop.actor):
        return Lot.objects.get(id=planned.lines[place].picks[0].lot_id).code


def _last(client: Client, bench: str) -> str:
    """The entry of what was weighed last."""
    return typed_in(client, bench, "entry")["entry"]


def test_too_much_is_asked_once(shop: Workshop, client: Client, balm: Planned) -> None:
    bench, much = f"{path_of(balm)}/bench", weighing(shop, balm, 0, "5 kg")
    asked = refused(client, bench, **much)
    assert "5,000 g would be in, 4,920 g more than the 80 g wanted." in asked.replace("\xa0", " ")
    assert "What was weighed in" not in shown(client.get(path_of(balm)))
    assert "Sunflower oil" in done(client, bench, **much, sure="on")
    page = shown(client.get(path_of(balm)))
    assert "too much" in page
    assert "What was weighed in" in page


def test_a_little_more_is_not_asked(shop: Workshop, client: Client, balm: Planned) -> None:
    bench = f"{path_of(balm)}/bench"
    page = done(client, bench, **weighing(shop, balm, 0, "80.8"))
    assert f"In: 80.8 g Sunflower oil, {code_of(shop, balm, 0)}." in page
    assert "Beeswax" in page
    assert "80.02" in refused(client, bench, **weighing(shop, balm, 1, "80.02"))


def test_what_is_in_is_taken_off_what_is_to_be_poured(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    bench, code = f"{path_of(balm)}/bench", code_of(shop, balm, 0)
    assert f"{code} (80 g)" in shown(client.get(bench)).replace("\xa0", " ")
    page = done(client, bench, **weighing(shop, balm, 0, "30")).replace("\xa0", " ")
    assert f"{code} (50 g)" in page


def test_an_end_that_is_mostly_a_slip_is_asked_once(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    bench, finish = f"{path_of(balm)}/bench", f"{path_of(balm)}/finish"
    done(client, bench, **weighing(shop, balm, 0, "80"))
    assert "Not all of it is weighed in: Beeswax." in refused(client, finish, output="79 g")
    done(client, bench, **weighing(shop, balm, 1, "20"))
    assert "More came out than went in" in refused(client, finish, output="5 kg")
    little = refused(client, finish, output="0.99 g").replace("\xa0", " ")
    assert little == "Only 0.99 g came out, where 100 g were to be expected."
    lost = {"loss": "99 g", "loss_reason": "spilt"}
    assert "1 g" in done(client, finish, output="1 g", **lost).replace("\xa0", " ")
    done(client, path_of(balm), do="reopen", reason="the wrong figure")
    few = FinishForm({"output": "99 g", "units": "-4", "labour_minutes": "-3"}, reader=Reader())
    assert few.errors["units"] == ["Write 1 or more."]
    assert "Less than nothing" in few.errors["labour_minutes"][0]
    assert "99" in done(client, finish, output="99 g")
    reopened = done(client, path_of(balm), do="reopen", reason="the wrong figure")
    assert "all weighed in" in reopened
    assert "Why" not in refused(client, path_of(balm), do="reopen", reason="once more")


def test_what_is_added_to_effect_stays_until_it_is_enough(shop: Workshop, client: Client) -> None:
    oil, scent = shop.material("Olive oil"), shop.material("Lavender oil")
    shop.receive(oil, "10 kg", "50.00")
    shop.receive(scent, "1 kg", "90.00")
    most = ToEffect(typical_percent=D("1"), max_percent=D("2"))
    planned = shop.plan(shop.formula("Oil", [(oil, "99"), (scent, most)]), "1 kg")
    bench = f"{path_of(planned)}/bench"
    done(client, bench, **weighing(shop, planned, 0, "990"))
    page = done(client, bench, **weighing(shop, planned, 1, "5"))
    assert "Lavender oil" in page
    # Of 990 g of oil and x of scent x is 2 % at 20.204 g, and a limit is never rounded up.
    assert "15.2 g may still go in" in page
    assert "That is enough" in page
    # All that was promised to it is in, and more may go in of what there is.
    assert "Meant to be poured" in page
    rest = done(client, bench, **weighing(shop, planned, 1, "5"))
    assert "Meant to be poured" not in rest
    done(client, bench, do="undo", entry=_last(client, bench), reason="weighed twice")
    assert "State begun" in shown(client.get(f"{path_of(planned)}/sheet"))
    # Coming back asks once more, until somebody says that it is enough.
    assert "That is enough" in shown(client.get(bench))
    assert "to effect: more may go in" in shown(client.get(path_of(planned)))
    line = {"line": str(planned.lines[1].line.id)}
    assert "All of it is in" in done(client, bench, do="enough", **line)
    # It is kept with the batch, so that another phone knows.
    assert "All of it is in" in shown(signed_in(shop).get(bench))
    batch = shown(client.get(path_of(planned)))
    assert "all weighed in" in batch
    assert "found enough" in batch
    assert "/declaration" in client.get(path_of(planned)).content.decode()
    assert "enough already" in refused(client, bench, do="enough", **line)
    back = done(client, bench, do="not_enough", **line)
    assert "That is enough" in back
    assert "nothing to take back" in refused(client, bench, do="not_enough", **line)
    assert "All of it is in" in done(client, bench, do="enough", **line)
    assert "That is enough" in done(client, bench, **weighing(shop, planned, 1, "1"))


def test_what_was_measured_and_what_was_not_in_the_formula_is_shown(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    bench = f"{path_of(balm)}/bench"
    hot = done(client, bench, do="measure", measure="temperature", value="72 degC")
    assert "beware of burns" in hot
    assert "Kept: temperature 72 °C" in hot
    assert "beware of burns" not in shown(client.get(bench))
    rosemary = shop.receive(shop.material("Rosemary extract"), "100 g", "9.00")
    other = {"add-lot": rosemary.code, "add-quantity": "1", "add-reason": "it smelt of nothing"}
    done(client, bench, do="add", **other)
    page = shown(client.get(path_of(balm)))
    for words in ("72 °C", "it smelt of nothing", "not in the formula", rosemary.code):
        assert words in page
    back = {"back-lot": rosemary.code, "back-quantity": "0.4", "back-reason": "too strong"}
    assert "Back out: -0.4" in done(client, bench, do="back", **back)
    assert "Only" in refused(client, bench, do="back", **{**back, "back-quantity": "9"})


def test_a_caution_stands_at_its_ingredient(shop: Workshop, client: Client) -> None:
    lye, oil = shop.material("Lye", cautions=["lye"], **LYE), shop.material("Coconut oil")
    shop.receive(lye, "1 kg", "8.00")
    shop.receive(oil, "10 kg", "50.00")
    planned = shop.plan(shop.formula("Soap", [(oil, "85"), (lye, "15")]), "1 kg")
    bench = f"{path_of(planned)}/bench"
    assert "Goggles and gloves" not in shown(client.get(bench))
    page = shown(client.get(f"{bench}?line={planned.lines[1].line.id}"))
    assert page.count("Goggles and gloves") == 1
    assert page.index("Goggles and gloves") < page.index("On the scale")
    undated = shown(client.get(path_of(planned)))
    assert code_of(shop, planned, 0) in undated.split("What goes in")[0]


def test_what_was_called_off_is_made_after_all(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    path = path_of(balm)
    done(client, f"{path}/bench", **weighing(shop, balm, 0, "80"))
    assert "called off" in done(client, f"{path}/stop", way="off", reason="a slip of the pen")
    assert "Fill this in" in refused(client, path, do="reopen", reason="")
    assert "begun" in done(client, path, do="reopen", reason="it is wanted after all")
    assert "begun" in shown(client.get("/batches"))


def test_what_came_in_since_is_looked_for_again(shop: Workshop, client: Client) -> None:
    oil = shop.material("Almond oil")
    planned = shop.plan(shop.formula("Oil", [(oil, "100")]), "1 kg")
    path = path_of(planned)
    lot = shop.receive(oil, "5 kg", "50.00")
    assert "Look again in the store" in shown(client.get(path))
    assert "Look again in the store" not in done(client, path, do="choose")
    shop.weigh(planned, 0, lot, "1 kg")
    shop.finish(planned, "1 kg")
    assert sent(client, path, do="choose").status_code == 422


def test_pieces_are_of_a_product(shop: Workshop, client: Client, balm: Planned) -> None:
    what = {"what": f"formula:{balm.batch.version.formula_id}", "sure": "on"}
    what["planned_for"] = "2025-05-06"
    assert "say kilograms" in refused(client, "/batches/new", size="2", **what)
    product = shop.product(balm.batch.version, "30 g")
    what["what"] = f"product:{product.id}"
    for size in ("2 pieces", "2 pcs", "2 pc.", "2 Units"):
        assert "2 pieces" in done(client, "/batches/new", size=size, **what)


def test_water_of_the_tap_names_no_lot_and_a_batch_says_when_it_was_made(
    shop: Workshop, client: Client
) -> None:
    planned = shop.plan(
        shop.formula("Mist", [(shop.water(), "100")]), "1 kg", planned_for=date(2026, 3, 4)
    )
    line = {"line": str(planned.lines[0].line.id), "quantity": "1000"}
    assert "In: 1,000 g Aqua." in done(client, f"{path_of(planned)}/bench", **line)
    made = done(client, f"{path_of(planned)}/finish", output="990 g")
    assert "planned for 4 Mar 2026" in made
    assert "4 Mar 2026" not in shown(client.get("/batches"))


def test_a_slip_of_a_plan_is_told(client: Client, balm: Planned) -> None:
    what = {"what": f"formula:{balm.batch.version.formula_id}"}
    past = refused(client, "/batches/new", size="2 kg", planned_for="1990-05-06", **what)
    assert "long past" in past
    what["planned_for"] = balm.batch.planned_for.isoformat()
    asked = refused(client, "/batches/new", size="2 kg", **what)
    assert "is over: was it made then?" in asked
    assert "far more than" not in asked
    assert "is over" in refused(client, "/batches/new", size="100000 kg", **what)
    assert "far more than" in refused(client, "/batches/new", size="100000 kg", **what)
    assert "to be made" in done(client, "/batches/new", size="100000 kg", sure="on", **what)


def test_all_weighings_come_as_a_file(shop: Workshop, client: Client, balm: Planned) -> None:
    done(client, f"{path_of(balm)}/bench", **weighing(shop, balm, 0, "80"))
    rows = client.get(f"{path_of(balm)}?as=csv&table=weighed").content.decode().splitlines()
    assert len(rows) == 2
    assert "Sunflower oil" in rows[1]
