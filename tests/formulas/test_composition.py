"""Lines that make 100 % w/w, and the explosion through intermediates."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.composition import (
    Balance,
    Composed,
    Fixed,
    Ingredient,
    Kind,
    Line,
    Recipe,
    ToEffect,
    compose,
    explode,
    parents_first,
    plain,
)
from formulas.errors import (
    BalanceNotPositive,
    FormulaCycle,
    OverMaximum,
    PercentNot100,
    SecondBalance,
)
from ledger.errors import Invalid


def material(name: str) -> Ingredient:
    return Ingredient(Kind.MATERIAL, name)


def line(name: str, amount: Fixed | ToEffect | Balance | str) -> Line:
    return Line(
        material(name), Fixed(D(amount)) if isinstance(amount, str) else amount, f"/lines/{name}"
    )


def part(name: str, percent: str, kind: Kind = Kind.MATERIAL) -> Composed:
    return Composed(Ingredient(kind, name), D(percent))


def test_the_balance_takes_what_the_others_leave() -> None:
    composed = compose(
        [line("water", Balance()), line("oil", "27.5"), line("acid", ToEffect(D("0.2"), D("0.5")))]
    )
    assert composed == (
        Composed(material("water"), D("72.3"), is_balance=True),
        Composed(material("oil"), D("27.5")),
        Composed(material("acid"), D("0.2"), max_percent=D("0.5")),
    )


def test_lines_without_a_balance_make_exactly_100() -> None:
    assert len(compose([line("oil", "99.99"), line("wax", "0.01")])) == 2
    assert compose([line("oil", "100")])[0].percent == 100
    assert compose([line("oil", Balance())])[0].percent == 100
    for other, total in (("0.009999", "99.999999"), ("0.010001", "100.000001")):
        with pytest.raises(PercentNot100) as refused:
            compose([line("oil", "99.99"), line("wax", other)])
        assert refused.value.facts["total"] == D(total)
        assert total in refused.value.detail
    with pytest.raises(PercentNot100):
        compose([])


def test_a_round_total_is_not_written_with_an_exponent() -> None:
    with pytest.raises(PercentNot100, match=r"make 110 %"):
        compose([line("oil", "80"), line("wax", "30")])


@pytest.mark.parametrize("other", ["60", "40.000001", "40"])
def test_a_balance_of_nothing_is_refused(other: str) -> None:
    lines = [line("oil", "60"), line("wax", other), line("water", Balance())]
    with pytest.raises(BalanceNotPositive) as refused:
        compose(lines)
    assert (refused.value.code, refused.value.pointer) == ("percent_not_100", "/lines/water")


def test_a_second_balance_is_refused_where_it_stands() -> None:
    with pytest.raises(SecondBalance) as refused:
        compose([line("water", Balance()), line("oil", "1"), line("more", Balance())])
    assert refused.value.pointer == "/lines/more"


@pytest.mark.parametrize("percent", ["0", "-1", "100.000001", "NaN", "Infinity", "0.0000001"])
def test_percents_that_cannot_be(percent: str) -> None:
    with pytest.raises(Invalid) as refused:
        compose([line("oil", percent), line("water", Balance())])
    assert refused.value.pointer == "/lines/oil/percent"
    with pytest.raises(Invalid) as refused:
        compose([line("acid", ToEffect(D("0.1"), D(percent))), line("water", Balance())])
    assert refused.value.pointer == "/lines/acid/to_effect/max_percent"


def test_a_typical_percent_above_its_maximum_is_refused() -> None:
    with pytest.raises(OverMaximum) as refused:
        compose([line("acid", ToEffect(D("0.6"), D("0.5"))), line("water", Balance())])
    assert refused.value.code == "over_maximum"
    assert compose([line("acid", ToEffect(D(5), D(5))), line("water", Balance())])


SOAP = Recipe((part("humectant", "5"), part("glycerite", "3", Kind.FORMULA), part("water", "92")))
GLYCERITE = Recipe((part("herb", "10"), part("humectant", "90")), D(25))


def test_explosion_goes_through_an_intermediate_with_its_own_loss() -> None:
    # Worked example, recomputed by hand: 3 % of 16,088.66 g is 482.6598 g of glycerite; it
    # keeps 75 % of its charge, 643.5464 g, which is one part herb and nine parts humectant.
    needs = explode("soap", D("16088.66"), {"soap": SOAP, "glycerite": GLYCERITE})
    assert {name: round(grams, 2) for name, grams in needs.items()} == {
        "humectant": Fraction("1383.62"),
        "water": Fraction("14801.57"),
        "herb": Fraction("64.35"),
    }
    assert needs["herb"] == Fraction("64.35464")


def test_the_loss_of_the_formula_itself_is_not_taken_twice() -> None:
    assert explode("glycerite", D(1000), {"glycerite": GLYCERITE}) == {
        "herb": 100,
        "humectant": 900,
    }


def test_an_intermediate_reached_on_two_ways_is_counted_on_both() -> None:
    recipes = {
        "cream": Recipe((part("base", "50", Kind.FORMULA), part("gel", "50", Kind.FORMULA))),
        "gel": Recipe((part("base", "40", Kind.FORMULA), part("water", "60")), D(20)),
        "base": Recipe((part("oil", "100"),), D(50)),
    }
    assert parents_first("cream", recipes) == ("cream", "gel", "base")
    # 500 g and 40 % of 625 g make 750 g of base, of which half is lost.
    assert explode("cream", D(1000), recipes) == {"water": 375, "oil": 1500}


def test_a_cycle_is_refused_with_its_path() -> None:
    recipes = {
        "cream": Recipe((part("oil", "50"), part("gel", "50", Kind.FORMULA))),
        "gel": Recipe((part("base", "40", Kind.FORMULA), part("water", "60"))),
        "base": Recipe((part("water", "1"), part("gel", "99", Kind.FORMULA))),
    }
    with pytest.raises(FormulaCycle, match="gel → base → gel") as refused:
        explode("cream", D(1000), recipes)
    assert refused.value.facts["formulas"] == ["gel", "base", "gel"]
    with pytest.raises(FormulaCycle):
        parents_first("self", {"self": Recipe((part("self", "100", Kind.FORMULA),))})


def test_depth_is_not_limited_by_the_call_stack() -> None:
    recipes = {
        f"f{n}": Recipe((part(f"f{n + 1}", "100", Kind.FORMULA),), D(50)) for n in range(2000)
    }
    recipes["f2000"] = Recipe((part("oil", "100"),))
    needs = explode("f0", D(1), recipes)
    assert needs == {"oil": Fraction(2) ** 1999}


def test_shared_intermediates_are_walked_once_each() -> None:
    # Each of forty layers uses the next one twice: 2 to the 40th paths, but forty formulas.
    recipes = {f"f{n}": Recipe((part(f"f{n + 1}", "50", Kind.FORMULA),) * 2) for n in range(40)}
    recipes["f40"] = Recipe((part("oil", "100"),))
    assert explode("f0", D(1), recipes) == {"oil": 1}


@pytest.mark.parametrize("loss", ["-1", "100", "NaN"])
def test_a_loss_that_cannot_be_is_refused(loss: str) -> None:
    recipes = {"soap": SOAP, "glycerite": Recipe(GLYCERITE.lines, D(loss))}
    with pytest.raises(Invalid, match="process loss"):
        explode("soap", D(1), recipes)


percents = st.lists(st.decimals("0.01", "9.99", places=4), min_size=1, max_size=9)


@given(percents, st.integers(0, 9))
def test_composed_lines_make_100(stated: list[D], place: int) -> None:
    lines = [line(str(n), str(percent)) for n, percent in enumerate(stated)]
    lines.insert(place, line("water", Balance()))
    composed = compose(lines)
    assert sum(c.percent for c in composed) == 100
    assert all(c.percent > 0 for c in composed)


@given(percents, st.decimals("0.01", 10**6, places=2))
def test_without_losses_the_materials_weigh_what_the_batch_weighs(
    stated: list[D], batch: D
) -> None:
    lines = compose(
        [line(str(n), str(p)) for n, p in enumerate(stated)] + [line("water", Balance())]
    )
    inner = Recipe(lines)
    outer = Recipe((part("inner", "30", Kind.FORMULA), part("water", "70")))
    needs = explode("outer", batch, {"outer": outer, "inner": inner})
    assert sum(needs.values()) == Fraction(batch)


def test_a_figure_has_no_trailing_zeros_and_no_exponent() -> None:
    told = [str(plain(Fraction(one))) for one in ("2.50", "100", "1/8", "0", "120.10")]
    assert told == ["2.5", "100", "0.125", "0", "120.1"]
