"""Writing a formula: rows go where their number or their phase says, and a slip is told at once."""

from datetime import UTC, datetime
from typing import Any

import pytest

from api.pages.reader import Reader
from api.pages.row_order import in_order
from formulas.access import version_for
from ledger.access import acting_as
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, sent, shown, signed_in, typed_in


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
