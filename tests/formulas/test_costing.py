"""Cost and yield of a batch."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.costing import BatchCost, Labour, Overhead, batch_cost, batch_yield, bulk_part, shown
from ledger.errors import Invalid, QuantityNotPositive


def test_normal_loss_is_carried_by_what_is_good() -> None:
    # Worked example, recomputed by hand: 160.00 over 9.7 kg of 10 kg.
    cost = batch_cost(materials=D(160), output_grams=D(9700))
    assert cost.per_kg == D("16.494845")
    assert (cost.total, cost.abnormal, cost.per_unit) == (D(160), D(0), None)


def test_abnormal_loss_is_expensed_and_nothing_is_lost() -> None:
    # The same batch separated: 2.5 kg are good enough for rework, 7.2 kg are not.
    cost = batch_cost(materials=D(160), output_grams=D(2500), declared_grams=D(7200))
    assert cost.abnormal == D("118.762887")
    assert cost.total == D("41.237113")
    assert cost.per_kg == D("16.494845")
    at_cents = shown(cost, "USD")
    assert (at_cents.abnormal, at_cents.total) == (D("118.76"), D("41.24"))
    assert at_cents.inputs == at_cents.abnormal + at_cents.total == D("160.00")


def test_loss_that_is_not_declared_stays_in_the_good_output() -> None:
    cost = batch_cost(materials=D(160), output_grams=D(2500))
    assert (cost.abnormal, cost.total, cost.per_kg) == (D(0), D(160), D(64))


def test_packaging_is_in_the_unit_and_never_in_the_kilogram_or_the_loss() -> None:
    cost = batch_cost(
        materials=D("90"),
        packaging=D("30"),
        labour=D("20"),
        overhead=D("10"),
        output_grams=D(15000),
        declared_grams=D(1000),
        units=60,
    )
    assert cost.inputs == D(150)
    assert cost.abnormal == D("7.5")
    assert cost.total == D("142.5")
    assert cost.per_kg == D("7.5")
    assert cost.per_unit == D("2.375")


def test_by_products_are_deducted_before_an_abnormal_loss_is_shared() -> None:
    """(150 - 30 - 8) · 1,000 ÷ 16,000 = 7 are expensed, and 150 - 8 - 7 = 135 are carried."""
    cost = batch_cost(
        materials=D("90"),
        packaging=D("30"),
        labour=D("20"),
        overhead=D("10"),
        by_products=D("8"),
        output_grams=D(15000),
        declared_grams=D(1000),
    )
    assert (cost.by_products, cost.abnormal, cost.total) == (D(8), D(7), D(135))
    assert cost.per_kg == D(7)


def test_joint_products_take_their_part_of_what_by_products_leave() -> None:
    """Of 120 less 8.4 for by-products the others carry 40.4, and a tenth of 71.2 was lost."""
    cost = batch_cost(
        materials=D(120),
        packaging=D(30),
        by_products=D("8.4"),
        joint_products=D("40.4"),
        output_grams=D(900),
        declared_grams=D(100),
    )
    assert (cost.joint_products, cost.abnormal, cost.total) == (D("40.4"), D("7.12"), D("94.08"))
    # Two of them lost 0.4 each, and the first of these gets what lacks.
    rounded = shown(cost, "JPY")
    amounts = (rounded.total, rounded.by_products, rounded.joint_products, rounded.abnormal)
    assert amounts == (D(94), D(9), D(40), D(7))
    assert sum(amounts) == rounded.inputs == D(150)


@pytest.mark.parametrize("value", ["-0.01", "120.01"])
def test_by_products_bring_no_more_than_went_in(value: str) -> None:
    """Packaging was never in them: 120 of 150."""

    def cost(by_products: D) -> BatchCost:
        return batch_cost(
            materials=D(120), packaging=D(30), by_products=by_products, output_grams=D(1)
        )

    assert cost(D(120)).total == D(30)
    with pytest.raises(Invalid) as refused:
        cost(D(value))
    assert refused.value.pointer == "/by_products"
    assert str(refused.value) == (
        "By-products bring at most what went into the batch without packaging, 120.00: what brings"
        " more is a product of its own."
    )


def test_bulk_of_emptied_units_keeps_its_part_and_the_rest_is_lost() -> None:
    """50 of 62 is bulk: of $37.20 that is $30.00, and $29.00 where 2,900 of 3,000 g came out."""
    share = Fraction(50, 62)
    part = bulk_part(D("37.20"), of_bulk=share, returned=Fraction(1))
    assert part == (D(30), D("7.20"))
    part = bulk_part(D("37.20"), of_bulk=share, returned=Fraction(2900, 3000))
    assert part == (D(29), D("8.20"))
    assert bulk_part(D(31), of_bulk=share, returned=Fraction(2))[0] == D(25), "never more than all"
    kept, lost = bulk_part(D("0.01"), of_bulk=Fraction(1, 3), returned=Fraction(1))
    assert (kept, lost) == (D("0.003333"), D("0.006667"))


def test_by_products_are_not_lost() -> None:
    result = batch_yield(
        weighed_grams=D(4000),
        output_grams=D(3000),
        planned_output_grams=D(3800),
        process_loss_percent=D(5),
        by_product_grams=D(800),
    )
    assert (result.actual_grams, result.beyond_grams) == (D(200), D(0))


def test_labour_and_overhead_follow_the_policy() -> None:
    labour = Labour(D("18.50"), minutes_per_batch=D(90), minutes_per_unit=D("1.5"))
    assert labour.cost(60) == D("55.5")
    assert labour.minutes() == Fraction(90)
    assert labour.cost() == D("27.75")
    assert Labour(D("20"), minutes_per_batch=D(1)).cost() == D("0.333333")
    assert Overhead(D(12), D("7.5")).cost(D("83.11")) == D("18.233250")
    assert Overhead().cost(D(100)) == 0


def test_minutes_that_a_batch_really_took_stand_before_those_of_the_policy() -> None:
    labour = Labour(D(24), minutes_per_batch=D(90), minutes_per_unit=D(1), recorded=D(105))
    assert labour.minutes(60) == Fraction(105)
    assert labour.cost(60) == D(42)


def test_the_loss_to_be_expected_is_the_one_that_is_given() -> None:
    """Of 1,000 g 3 % would be 30; an infusion says 120."""
    result = batch_yield(
        weighed_grams=D(1000),
        output_grams=D(850),
        planned_output_grams=D(880),
        process_loss_percent=D(3),
        expected_loss_grams=D(120),
    )
    found = (result.expected_grams, result.actual_grams, result.beyond_grams)
    assert found == (D(120), D(150), D(30))


def test_yield_and_loss_of_a_batch() -> None:
    result = batch_yield(
        weighed_grams=D("16100"),
        output_grams=D("15500"),
        planned_output_grams=D("15606"),
        process_loss_percent=D(3),
        declared_grams=D(100),
    )
    assert result.yield_percent == D("96.273292")
    assert result.plan_percent == D("99.320774")
    assert result.expected_grams == D(483)
    assert result.actual_grams == D(500)
    assert result.beyond_grams == D(17)


def test_a_good_batch_loses_nothing_beyond_and_may_even_gain() -> None:
    result = batch_yield(
        weighed_grams=D(1000),
        output_grams=D(1010),
        planned_output_grams=D(970),
        process_loss_percent=D(3),
    )
    assert (result.actual_grams, result.beyond_grams) == (D(-10), D(0))
    assert result.yield_percent == D(101)


@pytest.mark.parametrize(
    ("output", "declared", "refusal", "pointer"),
    [
        ("0", "5", QuantityNotPositive, "/output"),
        ("-1", "0", QuantityNotPositive, "/output"),
        ("NaN", "0", QuantityNotPositive, "/output"),
        ("1", "-1", Invalid, "/abnormal_loss/quantity"),
        ("1", "NaN", Invalid, "/abnormal_loss/quantity"),
    ],
)
def test_masses_that_cannot_be(
    output: str, declared: str, refusal: type[Invalid], pointer: str
) -> None:
    with pytest.raises(refusal) as refused:
        batch_cost(materials=D(1), output_grams=D(output), declared_grams=D(declared))
    assert refused.value.pointer == pointer
    with pytest.raises(refusal):
        batch_yield(
            weighed_grams=D(1),
            output_grams=D(output),
            planned_output_grams=D(1),
            declared_grams=D(declared),
        )


def test_no_units_and_nothing_weighed_are_refused() -> None:
    with pytest.raises(QuantityNotPositive):
        batch_cost(materials=D(1), output_grams=D(1), units=0)
    for weighed, planned in ((D(0), D(1)), (D(1), D(0))):
        with pytest.raises(QuantityNotPositive):
            batch_yield(weighed_grams=weighed, output_grams=D(1), planned_output_grams=planned)


def test_figures_rounded_one_by_one_would_not_add_up_and_shown_ones_do() -> None:
    cost = batch_cost(
        materials=D("10.004"),
        packaging=D("5.004"),
        labour=D("2.004"),
        overhead=D("1.00"),
        output_grams=D(1000),
        declared_grams=D(10),
    )
    at_cents = shown(cost, "USD")
    # 18.012 shows as 18.01; three figures each lost 0.004, and the first of them gets the cent.
    assert at_cents.inputs == D("18.01")
    assert (at_cents.materials, at_cents.packaging, at_cents.labour, at_cents.overhead) == (
        D("10.01"),
        D("5.00"),
        D("2.00"),
        D("1.00"),
    )
    assert (at_cents.per_kg, at_cents.per_unit) == (cost.per_kg, cost.per_unit)
    # 13.013 shows as 13.01, and only the figure that lost most may take the cent.
    uneven = batch_cost(
        materials=D("10.00"), packaging=D("1.004"), labour=D("2.009"), output_grams=D(1)
    )
    seen = shown(uneven, "USD")
    assert (seen.materials, seen.packaging, seen.labour) == (D("10.00"), D("1.00"), D("2.01"))
    in_yen = shown(cost, "JPY")
    assert in_yen.inputs == 18
    assert in_yen.total + in_yen.abnormal == 18


money = st.decimals(0, 10**6, places=6)
masses = st.decimals("0.01", 10**6, places=2)


@given(st.tuples(money, money, money, money), masses, masses, st.sampled_from(["USD", "JPY"]))
def test_cost_adds_up_exactly_and_as_shown(
    figures: tuple[D, D, D, D], output: D, declared: D, currency: str
) -> None:
    materials, packaging, labour, overhead = figures
    cost = batch_cost(
        materials=materials,
        packaging=packaging,
        labour=labour,
        overhead=overhead,
        output_grams=output,
        declared_grams=declared,
        units=7,
    )
    coin = D(1) if currency == "JPY" else D("0.01")
    seen = shown(cost, currency)
    for one in (cost, seen):
        assert one.materials + one.packaging + one.labour + one.overhead == one.inputs
        assert one.inputs - one.abnormal == one.total
    for name in ("materials", "packaging", "labour", "overhead", "inputs", "abnormal", "total"):
        exact, rounded = getattr(cost, name), getattr(seen, name)
        assert abs(exact - rounded) < coin
        assert rounded % coin == 0
        assert exact % coin != 0 or exact == rounded


@given(money, masses, masses)
def test_declared_loss_costs_what_the_same_mass_of_good_output_costs(
    materials: D, output: D, declared: D
) -> None:
    cost = batch_cost(materials=materials, output_grams=output, declared_grams=declared)
    rate = Fraction(materials) / (Fraction(output) + Fraction(declared))
    assert abs(Fraction(cost.abnormal) - rate * Fraction(declared)) <= Fraction(1, 2 * 10**6)
    assert 0 <= cost.abnormal <= materials


def test_a_single_unit_and_half_a_gram_are_a_batch() -> None:
    one = batch_cost(materials=D(3), output_grams=D("0.5"), units=1)
    assert (one.per_unit, one.per_kg) == (D(3), D(6000))
    half = batch_yield(weighed_grams=D("0.8"), output_grams=D("0.4"), planned_output_grams=D("0.5"))
    assert (half.yield_percent, half.plan_percent) == (D(50), D(80))
