"""All formulas at once, by arrays, beside the exact roll-up of each."""

import uuid
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulas.composition import Composed, Ingredient, Kind, Recipe, left_after_loss
from formulas.rolling import cost_per_gram, needs_per_gram
from formulas.rollup import Row, as_costs, level_order, told

MATERIALS = [uuid.UUID(int=1000 + n) for n in range(6)]
FORMULAS = [uuid.UUID(int=n) for n in range(8)]


@st.composite
def recipes(draw: Any) -> dict[str, Recipe]:
    """Formulas each of which may contain those before it, at losses of their own."""
    made = {}
    for place, id in enumerate(FORMULAS):
        below = [Ingredient(Kind.FORMULA, str(one)) for one in FORMULAS[:place]]
        bought = [Ingredient(Kind.MATERIAL, str(one)) for one in MATERIALS]
        chosen = draw(st.lists(st.sampled_from(below + bought), min_size=1, max_size=5))
        parts = [draw(st.integers(1, 10**6)) for _ in chosen]
        lines = tuple(
            Composed(one, D(part * 100) / sum(parts))
            for one, part in zip(chosen, parts, strict=True)
        )
        made[str(id)] = Recipe(lines, draw(st.decimals(0, 90, places=2)))
    return made


def rows_of(recipes: dict[str, Recipe], backwards: bool) -> list[Row]:
    rows: list[Row] = []
    for id, recipe in recipes.items():
        left = left_after_loss(recipe.process_loss_percent)
        for line in recipe.lines:
            other = uuid.UUID(line.ingredient.id)
            nested = line.ingredient.kind is Kind.FORMULA
            share = Fraction(line.percent) / 100 / left
            by_kind = (other, None) if nested else (None, other)
            rows.append((uuid.UUID(id), *by_kind, share))
    return rows[::-1] if backwards else rows


costs_per_kg = st.lists(st.decimals("0.01", 900, places=4), min_size=6, max_size=6)


# The first time takes as long as loading the libraries.
@settings(deadline=None)
@given(recipes(), costs_per_kg, st.booleans())
def test_arrays_agree_with_the_exact_cost_to_a_billionth(
    recipes: dict[str, Recipe], prices: list[D], backwards: bool
) -> None:
    levels = level_order(rows_of(recipes, backwards))
    costs = {id: Fraction(price) / 1000 for id, price in zip(MATERIALS, prices, strict=True)}
    found = levels.rolled(as_costs(levels.materials, costs))
    known = {str(id): cost for id, cost in costs.items()}
    assert set(levels.formulas) == set(FORMULAS)
    for id, number in zip(levels.formulas, found, strict=True):
        exact = cost_per_gram(needs_per_gram(str(id), recipes), known)
        assert abs(number / float(exact) - 1) < 1e-9
    for material in MATERIALS:
        touched = {levels.formulas[n] for n in levels.touched([material])}
        uses = {id for id in FORMULAS if str(material) in needs_per_gram(str(id), recipes)}
        assert touched == uses


def test_what_is_not_known_is_not_known_above_it_and_nowhere_else() -> None:
    oil, leaf = MATERIALS[:2]
    infusion, balm, plain = FORMULAS[:3]
    half = Fraction(1, 2)
    rows: list[Row] = [
        (balm, infusion, None, half),
        (balm, None, oil, half),
        (infusion, None, leaf, Fraction(2)),
        (plain, None, oil, Fraction(1)),
    ]
    levels = level_order(rows)
    assert levels.materials == (oil, leaf)
    found = levels.rolled(as_costs(levels.materials, {oil: Fraction(3), leaf: None}))
    costs = dict(zip(levels.formulas, (told(one) for one in found), strict=True))
    assert costs == {infusion: None, balm: None, plain: 3}


def test_what_a_gram_takes_and_costs_by_hand() -> None:
    """A gram of balm is 1.25 g weighed in at a loss of 20 percent: 0.625 g each of oil and of an
    infusion, which at its loss of a half takes 1.25 g of leaf. 0.001875 + 0.0025 = 0.004375."""
    half = D(50)
    made = {
        "balm": Recipe(
            (
                Composed(Ingredient(Kind.FORMULA, "infusion"), half),
                Composed(Ingredient(Kind.MATERIAL, "oil"), half),
            ),
            D(20),
        ),
        "infusion": Recipe((Composed(Ingredient(Kind.MATERIAL, "leaf"), D(100)),), half),
    }
    needs = needs_per_gram("balm", made)
    assert needs == {"oil": Fraction("0.625"), "leaf": Fraction("1.25")}
    costs = {"oil": Fraction("0.003"), "leaf": Fraction("0.002")}
    assert cost_per_gram(needs, costs) == Fraction("0.004375")
    with pytest.raises(KeyError):
        cost_per_gram(needs, {"oil": Fraction(1)})


def test_no_formulas_at_all() -> None:
    levels = level_order([])
    assert levels.rolled(as_costs(levels.materials, {})).tolist() == []
    assert levels.touched(MATERIALS).tolist() == []


def test_a_formula_in_itself_does_not_hang() -> None:
    one, other = FORMULAS[:2]
    with pytest.raises(ValueError, match=r"^A formula contains itself\.$"):
        level_order([(one, other, None, Fraction(1)), (other, one, None, Fraction(1))])
