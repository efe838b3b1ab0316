"""Active matter and mass in a substitution: a worked example, refusals, what always holds."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.errors import BalanceMissing, BalanceTooSmall
from formulas.substituting import (
    SCALE_STEP,
    Known,
    MadeUp,
    Strength,
    corrected_balance,
    make_up,
    must_have_balance,
    outside,
    touched,
)
from ledger.errors import Invalid, QuantityNotPositive

D = Decimal
grams = st.decimals(D("0.01"), D(50_000), places=2)
percents = st.decimals(D("0.5"), D(100), places=2)


def test_a_paste_made_up_with_a_weaker_grade() -> None:
    """1,500 g of 70 % are 1,050 g active; 820 g left are 574; 476 ÷ 0.28 = 1,700 g; + 1,020 g, so
    the water goes from 5,200 to 4,180 g."""
    made = make_up(D(1500), D(820), Strength(D(70), D(28)))
    assert [made.active_needed, made.active_kept, made.active_short] == [1050, 574, 476]
    assert [made.kept, made.replaced, made.other, made.brought] == [820, 680, 1700, 1020]
    assert made.active_left == 0
    assert corrected_balance(D(5200), D(0), made.brought) == 4180


@given(grams, st.decimals(D(0), D("0.99"), places=2), percents, percents)
def test_active_matter_and_mass_are_kept(
    needed: Decimal, part: Decimal, own: Decimal, other: Decimal
) -> None:
    kept = (needed * part).quantize(D("0.01"))
    try:
        made = make_up(needed, kept, Strength(own, other))
    except QuantityNotPositive:
        # Less is missing than the scale can weigh.
        missing = Fraction(needed - kept) * Fraction(own) / Fraction(other)
        assert missing <= Fraction(SCALE_STEP) / 2
        return
    # What goes in beside the balance, and the balance with its correction, weigh what was planned.
    water = D(100_000_000)
    assert made.kept + made.other + corrected_balance(water, D(0), made.brought) == needed + water
    assert made.kept + made.replaced == needed
    missing = Fraction(made.replaced) * Fraction(own) / 100
    off = missing - Fraction(made.other) * Fraction(other) / 100
    assert abs(off) <= Fraction(SCALE_STEP) / 2 * Fraction(other) / 100
    assert made.active_left is not None
    assert abs(Fraction(made.active_left) - off) <= Fraction(1, 2 * 10**6)


@given(grams, st.decimals(D(0), D("0.99"), places=2))
def test_one_to_one_the_mass_stays(needed: Decimal, part: Decimal) -> None:
    kept = (needed * part).quantize(D("0.01"))
    if kept == needed:
        return
    made = make_up(needed, kept, None)
    assert [made.other, made.brought, made.active_needed] == [needed - kept, 0, None]


def test_a_stronger_grade_gives_the_balance_more() -> None:
    made = make_up(D(1000), D(0), Strength(D(28), D(70)))
    assert [made.other, made.brought] == [400, -600]
    assert corrected_balance(D(100), D(100), made.brought) == 700


@pytest.mark.parametrize(
    ("planned", "weighed", "brought"), [("10", "0", "10"), ("10", "5", "6"), ("10", "0", "11")]
)
def test_the_balance_cannot_give_what_it_has_not(planned: str, weighed: str, brought: str) -> None:
    with pytest.raises(BalanceTooSmall):
        corrected_balance(D(planned), D(weighed), D(brought))


def test_without_a_balance_only_one_to_one() -> None:
    must_have_balance(make_up(D(10), D(1), None), has_balance=False)
    made = make_up(D(10), D(1), Strength(D(70), D(28)))
    must_have_balance(made, has_balance=True)
    with pytest.raises(BalanceMissing):
        must_have_balance(made, has_balance=False)


@pytest.mark.parametrize("kept", ["-1", "10.01", "10"])
def test_what_cannot_be_made_up(kept: str) -> None:
    with pytest.raises((Invalid, QuantityNotPositive)):
        make_up(D(10), D(kept), None)


@pytest.mark.parametrize("percent", ["0", "-1", "100.01", "NaN"])
def test_a_percent_is_above_0_and_at_most_100(percent: str) -> None:
    for strength in (Strength(D(percent), D(28)), Strength(D(28), D(percent))):
        with pytest.raises(Invalid):
            make_up(D(10), D(1), strength)


def codes(own: Known, other: Known, brought: str = "0") -> set[str]:
    return {one.code for one in touched(own, other, D(brought))}


@pytest.mark.parametrize(
    ("percent", "low", "high", "said"),
    [
        ("17", None, "16.5", "17 % of this batch, and its entry says at most 16.5 %"),
        (
            "0.333333",
            "0.5",
            "2",
            "0.33 % of this batch, and its entry says at least 0.5 %",
        ),
        ("16.5", "16.5", "16.5", ""),
        ("17", None, None, ""),
    ],
)
def test_a_substitute_outside_its_range(
    percent: str, low: str | None, high: str | None, said: str
) -> None:
    bounds = [None if one is None else D(one) for one in (low, high)]
    found = outside("Grade", D(percent), *bounds)
    assert [one.code for one in found] == (["percent_outside_range"] if said else [])
    assert all(f"Grade comes to {said}" in one.text for one in found)


def test_what_a_substitution_touches() -> None:
    paste = Known("Paste", "Sodium Laureth Sulfate", "surfactant", frozenset())
    grade = Known("Grade", "sodium laureth sulfate", "surfactant", frozenset())
    assert codes(paste, grade) == {"check_ph"}
    assert codes(paste, grade, "1020") == {"check_ph", "balance_changed"}
    kept = Known("Kept", "Coco-Betaine", "surfactant", frozenset({"preservative", "salts"}))
    assert codes(paste, kept) == {
        "check_ph",
        "inci_changed",
        "preservative_carried",
        "salts_carried",
    }
    # What its own brought as well is told too: it may be another one, or more of it.
    assert codes(kept, replace(kept, name="Kept too")) == {
        "check_ph",
        "preservative_carried",
        "salts_carried",
    }
    # And what it no longer brings.
    assert codes(kept, paste) == {"check_ph", "inci_changed", "preservation_changed"}
    oil = Known("Oil", "Helianthus Annuus Seed Oil", "emollient", frozenset())
    other = Known("Other oil", "Olea Europaea Fruit Oil", "emollient", frozenset({"allergens"}))
    assert codes(oil, other) == {"inci_changed", "allergens_carried"}
    # Not knowing is not the same as knowing of nothing.
    assert codes(oil, Known("Unknown")) == {"inci_unknown", "carried_unknown", "check_ph"}
    assert codes(kept, Known("Unknown", function="surfactant")) == {
        "inci_unknown",
        "carried_unknown",
        "preservation_changed",
        "check_ph",
    }


def test_one_fragrance_for_another_is_not_passed_over() -> None:
    """Both are Parfum on the label, and each has allergens of its own."""
    rose = Known("Rose", "Parfum", "fragrance", frozenset({"allergens"}))
    lime = Known("Lime", "Parfum", "fragrance", frozenset({"allergens"}))
    assert codes(rose, lime) == {"allergens_carried"}
    # Allergens that are recorded do not say what else it brings.
    stated = Known("Lime", "Parfum", "fragrance", allergens=True)
    assert codes(rose, stated) == {"allergens_carried", "carried_unknown"}
    assert codes(stated, replace(rose, brings=frozenset())) == set()


def test_one_preservative_for_another_needs_a_challenge_test() -> None:
    old = Known("Old", "Phenoxyethanol", "preservative", frozenset(), preserves=True)
    new = Known("New", "Benzyl Alcohol", "preservative", frozenset(), preserves=True)
    solvent = Known("Solvent", "Propanediol", "solvent", frozenset())
    for own, other in ((old, new), (old, solvent), (solvent, new)):
        assert codes(own, other) == {"inci_changed", "preservation_changed"}
        (told,) = [one for one in touched(own, other) if one.code == "preservation_changed"]
        assert told.text == (
            f"{other.name} stands in for {own.name}, and a preservative is what keeps the product:"
            " see that it suits this product, at this amount and pH. Needs a challenge test (e.g."
            " ISO 11930); this cannot show that it is preserved."
        )


def test_what_the_own_grade_kept_is_missed() -> None:
    own = Known("Own", "Betaine", "surfactant", frozenset({"preservative"}))
    other = Known("Other", "Betaine", "surfactant", frozenset())
    assert next(one.text for one in touched(own, other)) == (
        "Own carries a preservative of its own, and none is recorded of Other: what keeps the"
        " product has changed. Needs a challenge test (e.g. ISO 11930); this cannot show that it is"
        " preserved."
    )


def test_each_caution_says_what_to_look_at_and_of_which_material() -> None:
    """Whole sentences, since a maker acts on nothing else."""
    own = Known("Own", "Betaine", "surfactant", frozenset())
    all_of_it = frozenset({"preservative", "salts", "allergens"})
    other = Known("Other", "Coco-Betaine", "surfactant", all_of_it)
    assert [one.text for one in touched(own, other, D(1))] == [
        "Coco-Betaine stands in for Betaine: the ingredient list of this batch is another one, so a"
        " label printed for the formula may be wrong.",
        "Other carries a preservative of its own: reckon the total against its limit, since what"
        " keeps the product has changed. Needs a challenge test (e.g. ISO 11930); this cannot show"
        " that it is preserved.",
        "Other carries salts: a product thickened by salt may turn out thinner or thicker, so check"
        " the viscosity before thickening.",
        "Other carries fragrance allergens: above 0.001 % in what stays on or 0.01 % in what is"
        " rinsed off they belong on the label.",
        "Check the pH before filling: grades of a surfactant differ in pH, and a preservative may"
        " need its window.",
        "The balance line gives way for what the substitute brings: weigh the corrected amount, not"
        " the one on a sheet printed before. With more or less water what keeps the product has"
        " changed too. Needs a challenge test (e.g. ISO 11930); this cannot show that it is"
        " preserved.",
    ]
    assert [one.text for one in touched(Known("A", "X", "oil"), Known("B", "", "oil"))] == [
        "An INCI name is not recorded: see whether the ingredient list still holds.",
        "What B carries beside its active matter is not recorded: see its data sheet for"
        " preservatives, salts and allergens.",
    ]


def test_one_to_one_tells_of_no_active_matter() -> None:
    assert make_up(D(10), D(3), None) == MadeUp(D(3), D(7), D(7), D(0))


@pytest.mark.parametrize(
    ("planned", "weighed", "brought", "left"),
    [
        # Exactly what was weighed may be left, and less than a gram.
        ("10", "6", "4", "6"),
        ("4.5", "0", "4", "0.5"),
        # What brings nothing, or takes something, wants nothing of the balance.
        ("10", "12", "0", "10"),
        ("10", "12", "-1", "11"),
    ],
)
def test_the_balance_gives_what_it_has(planned: str, weighed: str, brought: str, left: str) -> None:
    assert corrected_balance(D(planned), D(weighed), D(brought)) == D(left)


@pytest.mark.parametrize(
    ("planned", "weighed", "brought", "can"), [("0.4", "0", "0.5", "0.4"), ("5", "7", "1", "0")]
)
def test_what_the_balance_can_still_give_is_told(
    planned: str, weighed: str, brought: str, can: str
) -> None:
    with pytest.raises(BalanceTooSmall) as refused:
        corrected_balance(D(planned), D(weighed), D(brought))
    assert refused.value.facts == {"brought": D(brought), "left": D(can)}
