"""Grams of each line, from a batch, a wanted output, or units to fill."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.composition import Composed, Ingredient, Kind
from formulas.errors import BatchTooSmall, OverMaximum
from formulas.scaling import (
    check_maximum,
    fill_of_mass,
    fill_of_volume,
    most_to_effect,
    scale_batch,
    scale_lines,
    scale_output,
    scale_units,
)
from ledger.errors import DensityNotPositive, Invalid, QuantityNotPositive

# Worked example, recomputed by hand: 60 bottles of 250 mL, 2 % overfill, 1.02 g/mL, 3 % loss.
LIQUID_SOAP = {
    "water": ("57.80", "9299.24"),
    "humectant": ("5", "804.43"),
    "chelant": ("0.10", "16.09"),
    "amphoteric": ("12", "1930.64"),
    "anionic": ("15", "2413.30"),
    "nonionic": ("3.50", "563.10"),
    "glycerite": ("3", "482.66"),
    "protein": ("1.50", "241.33"),
    "preservative": ("1", "160.89"),
    "fragrance": ("0.60", "96.53"),
    "thickener": ("0.30", "48.27"),
    "acid": ("0.20", "32.18"),
}


def composed(percents: dict[str, str], balance: str = "") -> list[Composed]:
    return [
        Composed(Ingredient(Kind.MATERIAL, name), D(percent), is_balance=name == balance)
        for name, percent in percents.items()
    ]


SOAP_LINES = composed({name: percent for name, (percent, _) in LIQUID_SOAP.items()}, "water")


def test_sixty_bottles_to_the_last_digit() -> None:
    fill = fill_of_volume(D(250), D("1.02"), D(2))
    assert fill == D("260.1")
    scaled = scale_units(SOAP_LINES, 60, fill, process_loss_percent=D(3))
    assert scaled.output_grams == D("15606.00")
    assert scaled.batch_grams == D("16088.66")
    assert {line.ingredient.id: line.grams for line in scaled.lines} == {
        name: D(grams) for name, (_, grams) in LIQUID_SOAP.items()
    }
    assert sum(line.grams for line in scaled.lines) == scaled.batch_grams


def test_a_batch_of_that_mass_leaves_that_output() -> None:
    scaled = scale_batch(SOAP_LINES, D("16088.66"), process_loss_percent=D(3))
    assert scaled.output_grams == D("15606.00")
    # Multiplying by 1.03 instead would have been short of the sixty bottles.
    short = scale_batch(SOAP_LINES, D("16074.18"), process_loss_percent=D(3))
    assert short.output_grams < D("15606.00")


def test_an_intermediate_is_scaled_by_its_own_loss() -> None:
    lines = composed({"herb": "10", "humectant": "90"})
    scaled = scale_output(lines, D("482.66"), process_loss_percent=D(25))
    # 643.55 g halve the last hundredth (64.355 and 579.195): the tie goes to the earlier line.
    assert scaled.batch_grams == D("643.55")
    assert [line.grams for line in scaled.lines] == [D("64.36"), D("579.19")]
    assert scale_batch(lines, D(1000), process_loss_percent=D(25)).output_grams == 750


def test_without_a_balance_the_largest_remainder_gets_the_step() -> None:
    lines = composed({"a": "33.30", "b": "33.30", "c": "33.40"})
    assert [line.grams for line in scale_lines(lines, D("0.10"))] == [
        D("0.03"),
        D("0.03"),
        D("0.04"),
    ]
    assert [line.grams for line in scale_lines(lines, D("100"), step=D(1))] == [33, 33, 34]


def test_a_coarser_scale_rounds_the_batch_too() -> None:
    scaled = scale_batch(SOAP_LINES, D("16088.66"), step=D("0.5"))
    assert scaled.batch_grams == D("16088.5")
    assert all(line.grams % D("0.5") == 0 for line in scaled.lines)
    assert sum(line.grams for line in scaled.lines) == D("16088.5")


def test_a_batch_too_small_for_the_scale_is_refused() -> None:
    with pytest.raises(BatchTooSmall):
        scale_batch(SOAP_LINES, D("0.004"))
    with pytest.raises(BatchTooSmall):
        scale_batch(composed({"oil": "50", "wax": "50"}), D("0.004"))
    starved = composed({"water": "0.1", "oil": "49.95", "wax": "49.95"}, "water")
    with pytest.raises(BatchTooSmall):
        scale_batch(starved, D("1.00"))


@pytest.mark.parametrize("grams", ["0", "-1", "NaN", "Infinity"])
def test_masses_and_fills_that_cannot_be(grams: str) -> None:
    for scale in (scale_batch, scale_output):
        with pytest.raises(QuantityNotPositive):
            scale(SOAP_LINES, D(grams))
    with pytest.raises(QuantityNotPositive):
        fill_of_volume(D(grams), D(1))
    with pytest.raises(QuantityNotPositive):
        fill_of_mass(D(grams))
    with pytest.raises(DensityNotPositive):
        fill_of_volume(D(250), D(grams))


def test_units_and_overfill_that_cannot_be() -> None:
    with pytest.raises(QuantityNotPositive):
        scale_units(SOAP_LINES, 0, D("260.1"))
    for overfill in ("-0.1", "NaN"):
        with pytest.raises(Invalid, match="overfill"):
            fill_of_mass(D(50), D(overfill))


def test_a_balm_is_filled_by_mass() -> None:
    assert fill_of_mass(D(50), D(1)) == D("50.5")
    assert fill_of_mass(D(50)) == D(50)
    assert fill_of_volume(D("33.3"), D("0.9123"), D("1.5")) == D("30.835284")


def test_headroom_of_a_to_effect_line_is_taken_on_the_final_mass() -> None:
    # Worked example, recomputed by hand: base 12,000 g with 36 g thickener, acid at most 0.50 %
    # of the final mass: 0.005 · 12,036 ÷ 0.995 = 60.48 g. After 42 g, 20 g more is too much.
    most = most_to_effect(D(12036), D("0.50"))
    assert most == D("60.482412")
    check_maximum(most, D(12036), D("0.50"))
    check_maximum(D(1), D(99), D(1))
    with pytest.raises(OverMaximum) as refused:
        check_maximum(D(62), D(12036), D("0.50"))
    assert round(refused.value.facts["percent"], 4) == D("0.5125")
    with pytest.raises(OverMaximum):
        check_maximum(most + D("0.000001"), D(12036), D("0.50"))
    for percent in ("0", "100", "NaN"):
        with pytest.raises(Invalid):
            most_to_effect(D(1), D(percent))


shares = st.lists(st.integers(1, 10**6), min_size=1, max_size=12)
batches = st.decimals("1", 10**6, places=2)


def lines_of(weights: list[int], balance: int | None) -> list[Composed]:
    """Percents that make 100 exactly: the last line takes what rounding leaves."""
    total = sum(weights)
    percents = [round(D(weight) * 100 / total, 4) for weight in weights]
    percents[-1] = 100 - sum(percents[:-1], D(0))
    return [
        Composed(Ingredient(Kind.MATERIAL, str(n)), percent, is_balance=n == balance)
        for n, percent in enumerate(percents)
        if percent > 0
    ]


@given(shares, batches)
def test_lines_sum_to_the_batch_and_stay_within_a_step(weights: list[int], batch: D) -> None:
    lines = lines_of(weights, None)
    total = sum(line.percent for line in lines)
    scaled = scale_lines(lines, batch)
    assert sum(line.grams for line in scaled) == batch
    for line in scaled:
        assert abs(line.grams - batch * line.percent / total) < D("0.01")


@given(shares, batches)
def test_the_balance_takes_all_that_rounding_leaves(weights: list[int], batch: D) -> None:
    lines = lines_of([sum(weights), *weights], 0)
    try:
        scaled = scale_lines(lines, batch)
    except BatchTooSmall:
        assert batch * lines[0].percent / 100 < D("0.01") * len(lines)
        return
    assert sum(line.grams for line in scaled) == batch
    assert all(line.grams >= 0 for line in scaled)
    for line in scaled[1:]:
        assert abs(line.grams - batch * line.percent / 100) <= D("0.005")


@given(shares, batches, st.decimals(0, 50, places=2))
def test_a_wanted_output_comes_out_of_the_batch_it_asks_for(
    weights: list[int], output: D, loss: D
) -> None:
    lines = lines_of(weights, None)
    wanted = scale_output(lines, output, process_loss_percent=loss)
    made = scale_batch(lines, wanted.batch_grams, process_loss_percent=loss)
    assert abs(made.output_grams - output) <= D("0.01")


def test_a_scale_of_another_step_is_kept_to_throughout() -> None:
    """2 % lost of 101 g are 2.02 g: 99 g on a scale of whole grams; 99 ÷ 0.98 is 101.02."""
    lines = composed({"water": "50", "oil": "50"}, "water")
    one = scale_batch(lines, D("100.6"), process_loss_percent=D(2), step=D(1))
    assert (one.batch_grams, one.output_grams) == (D(101), D(99))
    assert [line.grams for line in one.lines] == [51, 50]
    for scaled in (
        scale_output(lines, D(99), process_loss_percent=D(2), step=D(1)),
        scale_units(lines, 1, D(99), process_loss_percent=D(2), step=D(1)),
    ):
        assert scaled == one


def test_the_maximum_of_a_line_goes_with_it() -> None:
    line = Composed(Ingredient(Kind.MATERIAL, "acid"), D(100), max_percent=D(100))
    (scaled,) = scale_lines([line], D(5))
    assert scaled.max_percent == 100
