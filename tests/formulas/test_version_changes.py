"""Two versions beside each other: every line of both once, whatever became of it."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from formulas.composition import Ingredient, Kind
from formulas.version_changes import Pair, Row, beside

D = Decimal


def row(name: str, percent: str = "10", phase: str = "A", kind: str = "fixed") -> Row:
    return Row(phase, name, Ingredient(Kind.MATERIAL, name), kind, D(percent))


def names(pairs: list[Pair]) -> list[tuple[str, str]]:
    return [
        (pair.before.name if pair.before else "", pair.after.name if pair.after else "")
        for pair in pairs
    ]


def test_what_came_what_went_and_what_became_more() -> None:
    before = [row("water", "80"), row("oil", "15"), row("scent", "5")]
    after = [row("water", "78"), row("wax", "7"), row("oil", "15")]
    pairs = beside(before, after)
    assert names(pairs) == [("water", "water"), ("", "wax"), ("oil", "oil"), ("scent", "")]
    assert [pair.more for pair in pairs] == [D(-2), D(7), D(0), D(-5)]
    assert [pair.changed for pair in pairs] == [True, True, False, True]
    assert [pair.shown.name for pair in pairs if pair.shown] == ["water", "wax", "oil", "scent"]


def test_what_went_from_the_top_stands_at_the_top() -> None:
    pairs = beside([row("water"), row("salt"), row("oil")], [row("oil")])
    assert names(pairs) == [("water", ""), ("salt", ""), ("oil", "oil")]


def test_an_ingredient_that_stands_twice_is_paired_in_turn() -> None:
    before = [row("oil", "10", "A"), row("oil", "5", "B")]
    pairs = beside(before, [row("oil", "10", "A"), row("oil", "7", "B")])
    assert [pair.more for pair in pairs] == [D(0), D(2)]


def test_another_phase_or_kind_is_a_change() -> None:
    (moved,) = beside([row("oil")], [row("oil", phase="B")])
    (freed,) = beside([row("oil")], [row("oil", kind="balance")])
    assert moved.changed
    assert freed.changed
    assert moved.more == freed.more == 0


rows = st.lists(
    st.builds(row, st.sampled_from("abcd"), st.sampled_from(["1", "2"]), st.sampled_from("AB")),
    max_size=8,
)


@given(rows, rows)
def test_nothing_is_lost_and_the_later_order_stands(before: list[Row], after: list[Row]) -> None:
    pairs = beside(before, after)
    assert [pair.after for pair in pairs if pair.after] == after
    kept = [pair.before for pair in pairs if pair.before]
    assert sorted(kept, key=repr) == sorted(before, key=repr)
    for pair in pairs:
        if pair.before and pair.after:
            assert pair.before.ingredient == pair.after.ingredient
