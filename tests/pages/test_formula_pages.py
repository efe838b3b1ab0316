"""Writing a formula: rows go where their number or their phase says, and a slip is told at once."""

from datetime import UTC, datetime
from typing import Any

import pytest

from api.pages.reader import Reader
from api.pages.row_order import in_order
from formulas.access import version_for
from ledger.access import acting_as
from ledger.models import Membership
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in, typed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def ordered(rows: list[tuple[str, str, str]], settled: int = 0) -> str:
    """The names of rows of (place, phase, name), one letter each, as they come out."""
    typed = {"lines": str(len(rows)), "name": "Balm"}
    for row, (place, phase, name) in enumerate(rows):
        typed |= {f"lines-{row}-place": place, f"lines-{row}-phase": phase}
        typed[f"lines-{row}-name"] = name
    found = in_order(typed, "lines", group="phase", settled=settled, most=80)
    assert found["name"] == "Balm"
    return "".join(found[f"lines-{row}-name"] for row in range(len(rows)))


@pytest.mark.parametrize(
    ("rows", "settled", "comes_out"),
    [
        ([("1", "", "a"), ("2", "", "b"), ("3", "", "c")], 0, "abc"),
        ([("1", "", "a"), ("2", "", "b"), ("1", "", "c")], 0, "cab"),
        ([("3", "", "a"), ("2", "", "b"), ("3", "", "c")], 0, "bca"),
        ([("1", "", "a"), ("x", "", "b"), ("-1", "", "c"), ("", "", "d")], 0, "abcd"),
        ([("1", "Oil", "a"), ("2", "Cool", "b"), ("3", "Oil", "c")], 0, "acb"),
        ([("1", "Oil", "a"), ("2", "Cool", "b"), ("3", "Oil", "c")], 3, "abc"),
        ([("1", "Oil", "a"), ("2", "Oil", "b"), ("3", "Cool", "c"), ("2", "Oil", "d")], 3, "adbc"),
        ([("999", "Oil", "a"), ("2", "Cool", "b")], 0, "ba"),
    ],
)
def test_rows_go_where_their_number_or_phase_says(
    rows: list[tuple[str, str, str]], settled: int, comes_out: str
) -> None:
    assert ordered(rows, settled) == comes_out


def test_a_row_goes_into_the_middle_and_a_slip_is_told(shop: Workshop) -> None:
    oil, wax, acid = (shop.material(name) for name in ("Oil", "Wax", "Acid"))
    version = shop.formula("Balm", [(oil, "balance"), (wax, "20")])
    client, id = signed_in(shop), version.formula_id
    path = f"/formulas/{id}/next"
    typed = {**typed_in(client, path, "lines-0-name"), "lines-0-amount": "balance"}
    typed |= {"lines-2-name": "Acid", "lines-2-percent": "1,5", "lines-2-place": "2"}
    slip = shown(client.post(path, {**typed, "do": "look"}))
    # The row stands in its place already, and no sum is told of what was not understood.
    assert "Row 2, Percent: " in slip
    assert "is left, and the balance takes it" not in slip
    wrong = sent(client, path, **typed)
    assert wrong.status_code == 422
    assert 'name="lines-1-name" value="Acid"' in wrong.content.decode()
    nowhere = sent(client, path, **{**typed, "lines-2-percent": "1.5", "lines-1-place": "above"})
    assert nowhere.status_code == 422
    assert "Row 3, Place: Write a number here." in shown(nowhere)
    assert 'value="above"' in nowhere.content.decode()
    hot = {**typed, "lines-2-percent": "1.5", "lines-2-hottest": "4o"}
    assert "temperature" in shown(sent(client, path, **hot))
    hot |= {"lines-2-hottest": "40", "note": "it spat at 60 degrees"}
    kept = done(client, path, **hot)
    assert "once the batch is no hotter than 40 °C" in kept
    assert "it spat at 60 degrees" in kept
    assert kept.index("Oil") < kept.index("Acid") < kept.index("Wax")
    with acting_as(shop.actor):
        lines = list(version_for(shop.actor, id).lines.all())
        assert [line.material_id for line in lines] == [oil.id, acid.id, wax.id]
    versions = shown(client.get(f"/formulas/{id}/versions"))
    assert "less by 1.5 %" in versions.replace("\xa0", " ")
    today = Reader().day(datetime.now(UTC))
    assert f"version 2, {today} version 1, {today}" in versions
    assert "no hotter than 40 °C" in versions
    assert versions.count("it spat at 60 degrees") == 2
    rows = client.get(f"/formulas/{id}/versions?as=csv&table=all").content.decode()
    assert "it spat at 60 degrees" in rows
    again = typed_in(client, path, "lines-0-name")
    assert (again["lines-1-hottest"], again.get("note", "")) == ("40", "")


def test_what_a_row_of_its_kind_has_no_use_for_is_not_judged(shop: Workshop) -> None:
    shop.material("Hemp oil")
    typed = {"name": "Hemp balm", "lines": "1", "lines-0-name": "Hemp oil"}
    typed |= {"lines-0-amount": "balance", "lines-0-percent": "-3", "lines-0-most": "much"}
    assert "Hemp oil" in done(signed_in(shop), "/formulas/new", **typed)
    fixed = {**typed, "name": "Hemp oil alone", "lines-0-amount": "fixed"}
    assert "Less than nothing" in refused(signed_in(shop), "/formulas/new", **fixed)


def test_why_no_cost_is_told_and_where_it_is(shop: Workshop) -> None:
    client, nut = signed_in(shop), shop.material("Nut oil")
    shop.receive(nut, "10 kg", "120.00")
    typed = {"do": "look", "lines": "2", "lines-0-name": "Nut oil", "lines-0-percent": "90"}
    typed |= {"lines-0-amount": "fixed", "lines-1-name": "Moon dust", "lines-1-percent": "10"}
    typed |= {"lines-1-amount": "fixed"}
    told = shown(client.post("/formulas/new", typed))
    assert "no material and no formula is called Moon dust" in told
    assert "cannot be said" not in shown(
        in_role(shop, Membership.Role.BENCH).post("/formulas/new", typed)
    )
    formula = shop.formula("Nut balm", [(nut, "100")])
    page = client.get(f"/formulas/{formula.formula_id}")
    assert "What a kilogram costs 12.00 USD a kilogram" in shown(page)
    assert "How this came about" in shown(page)
    hidden = in_role(shop, Membership.Role.BENCH).get(f"/formulas/{formula.formula_id}")
    assert "What a kilogram costs" not in shown(hidden)


def test_who_changed_what_another_changed_is_led_to_it(shop: Workshop) -> None:
    formula = shop.formula("Rose balm", [(shop.material("Rose oil"), "100")])
    client, path = signed_in(shop), f"/formulas/{formula.formula_id}/next"
    typed = typed_in(client, path, "lines-0-name")
    done(client, path, **typed)
    late = sent(client, path, **typed)
    assert late.status_code == 422
    assert f'<a href="{path}" target="_blank">' in late.content.decode()
