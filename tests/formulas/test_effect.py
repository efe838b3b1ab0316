"""Adding to effect: the headroom is exact, on the final mass, and counts down."""

from decimal import ROUND_DOWN
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from formulas.effect import Pot, effect_of, headroom, overrun, share_of, typical_grams
from tests.factories import D

GRAMS = st.decimals("0.000001", "1000000", places=6)
LIMITS = st.decimals("0.000001", "99.999999", places=6)
MICRO = D("0.000001")


@given(others=GRAMS, most=LIMITS)
def test_the_headroom_solves_its_equation(others: D, most: D) -> None:
    """x = max · (m + x): what may be added makes at most the maximum, and a millionth of a gram
    more would pass it."""
    left = headroom(others, D(0), most)
    assert left is not None
    share = Fraction(most) / 100
    assert Fraction(left) <= share * (Fraction(others) + Fraction(left))
    more = Fraction(left) + Fraction(MICRO)
    assert more > share * (Fraction(others) + more)


@given(others=GRAMS, most=LIMITS, parts=st.lists(st.integers(1, 100), min_size=1, max_size=8))
def test_whatever_the_steps_the_headroom_counts_down_to_nothing(
    others: D, most: D, parts: list[int]
) -> None:
    whole = headroom(others, D(0), most)
    assert whole is not None
    own = D(0)
    for part in parts:
        step = (whole * part / (100 * len(parts))).quantize(MICRO, ROUND_DOWN)
        pot = Pot(others, others, own)
        assert overrun(pot, step, most, "Acid") is None
        effect = effect_of(pot, step, most)
        own += step
        assert (effect.added_grams, effect.total_grams) == (step, own)
        assert effect.headroom_grams == whole - own
        assert effect.mass_grams == others + own
        assert effect.final_percent <= most + MICRO
    rest = whole - own
    assert overrun(Pot(others, others, own), rest, most, "Acid") is None
    refused = overrun(Pot(others, others, own), rest + MICRO, most, "Acid")
    assert refused is not None
    assert refused.facts["headroom_grams"] == rest


def test_after_an_overrun_nothing_more_may_go_in_and_the_share_is_said() -> None:
    """20 g more after 42 g beside 12,036 g: 62 ÷ 12,098 = 0.5125 %."""
    effect = effect_of(Pot(D(12036), D(12036), D(42)), D(20), D("0.50"))
    assert (effect.headroom_grams, effect.max_percent) == (D(0), D("0.50"))
    assert round(effect.share_percent, 4) == round(effect.final_percent, 4) == D("0.5125")


def test_the_share_that_is_told_is_rounded_once() -> None:
    """62 ÷ 12,026 = 0.51554964 %: as 0.515550 it would become 0.5156."""
    refused = overrun(Pot(D(11964), D(11964), D(42)), D(20), D("0.50"), "Acid")
    assert refused is not None
    assert "0.5155 % of Acid, above the maximum of 0.5 %: at most 18.12 g" in str(refused)
    assert refused.facts["percent"] == D("0.515550")


def test_what_is_still_to_be_weighed_counts_in_the_final_share_alone() -> None:
    effect = effect_of(Pot(D(400), D(990), D(0)), D(10), D(5))
    assert effect.mass_grams == 410
    assert effect.share_percent == D("2.439024")
    assert effect.final_percent == 1
    assert effect.headroom_grams == D("42.105263")


def test_a_line_without_a_limit_has_no_headroom_to_tell() -> None:
    assert headroom(D(1), D(5), D(100)) is None
    assert overrun(Pot(D(1), D(1), D(5)), D(10**6), D(100), "Water") is None
    assert effect_of(Pot(D(0), D(0), D(5)), D(-5), D(100)).share_percent == 0
    assert share_of(D(1), D(3)) == D("33.333333")


def test_the_refusal_names_its_place_and_never_rounds_the_headroom_up() -> None:
    """0.005 · 3.979 ÷ 0.995 = 0.019994 g: 0.01 may go in, and 0.02 would be too much."""
    refused = overrun(Pot(D("3.979"), D("3.979"), D(0)), D("0.02"), D("0.50"), "Acid")
    assert refused is not None
    assert refused.pointer == "/quantity"
    assert str(refused) == (
        "This would make 0.5001 % of Acid, above the maximum of 0.5 %: at most 0.01 g more may be"
        " added. Add less, or record a deviation."
    )
    assert refused.facts["left"] == refused.facts["headroom_grams"] == D("0.019994")


def test_the_typical_amount_is_a_share_of_the_final_mass() -> None:
    """0.2 % beside 998 g is 2 g of 1000 g; none at 0 or at 100 %."""
    assert typical_grams(D(998), D("0.2")) == D(2)
    assert typical_grams(D(1), D(99)) == D(99)
    assert [typical_grams(D(1), D(one)) for one in (-1, 0, 100)] == [0, 0, 0]
