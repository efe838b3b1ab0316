"""Landed cost and cost layers, against worked examples recomputed by hand and random cases."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.costing import (
    GRAMS_PER_KG,
    Charge,
    ChargeKind,
    CostFormula,
    Draw,
    Layer,
    Measure,
    ReceivedLine,
    SpreadBy,
    land,
    merge,
    put,
    round_stored,
    take,
    unit_cost,
)
from ledger.errors import (
    Invalid,
    MassMissing,
    MoneyNegative,
    MoneyTooFine,
    NotEnough,
    QuantityNotPositive,
)

HUMECTANT = ReceivedLine("humectant", D("186.00"), D("19078.475391"))
POWDER = ReceivedLine("powder", D("92.00"), D(10000))
WAX = ReceivedLine("wax", D("72.00"), D(5000))
FREIGHT = Charge(ChargeKind.FREIGHT, D("41.30"), SpreadBy.MASS)
TAX = Charge(ChargeKind.TAX, D("21.00"), SpreadBy.VALUE)


def test_landed_cost_of_a_receipt_by_volume() -> None:
    # Worked example, recomputed by hand: 4 US gal at 1.26 g/mL is 19,078.475 g; freight by
    # mass over 34.078475 kg, tax by value over 350.00.
    humectant, powder, wax = land([HUMECTANT, POWDER, WAX], [FREIGHT, TAX], "USD")
    assert [line.shares for line in (humectant, powder, wax)] == [
        (D("23.12"), D("11.16")),
        (D("12.12"), D("5.52")),
        (D("6.06"), D("4.32")),
    ]
    assert humectant.landed_cost == D("220.28")
    assert sum(line.landed_cost for line in (humectant, powder, wax)) == D("412.30")
    assert [round(line.unit_cost, 4) for line in (humectant, powder, wax)] == [
        D("11.5460"),
        D("10.9640"),
        D("16.4760"),
    ]


def test_a_density_of_one_would_have_made_the_humectant_too_dear() -> None:
    assert round(unit_cost(D("220.28"), D("15141.647136"), per=GRAMS_PER_KG), 4) == D("14.5480")


def test_a_discount_lowers_the_cost_and_the_share_by_value() -> None:
    full = ReceivedLine("oil", D("100.00"), D(1000))
    reduced = ReceivedLine("oil", D("150.00"), D(1000), discount=D("50.00"))
    first, second = land([full, reduced], [TAX], "USD")
    assert (first.goods, second.goods) == (D("100.00"), D("100.00"))
    assert first.landed_cost == second.landed_cost == D("110.50")


def test_pieces_carry_freight_by_their_mass_each_and_cost_per_piece() -> None:
    bottles = ReceivedLine("bottle", D("30.00"), D(100), Measure.COUNT, mass_each=D(30))
    oil = ReceivedLine("oil", D("50.00"), D(1000))
    first, second = land([bottles, oil], [FREIGHT], "USD")
    # 3,000 g of 4,000 g carry 30.975, 1,000 g carry 10.325: equal halves of a cent over,
    # and the tie goes to the earlier line.
    assert (first.charges, second.charges) == (D("30.98"), D("10.32"))
    assert first.unit_cost == D("0.6098")


def test_freight_by_mass_over_pieces_of_unknown_mass_is_refused() -> None:
    bottles = ReceivedLine("bottle", D("30.00"), D(100), Measure.COUNT)
    with pytest.raises(MassMissing) as refused:
        land([HUMECTANT, bottles], [TAX, FREIGHT], "USD")
    assert refused.value.pointer == "/charges/1/spread_by"
    assert "bottle" in refused.value.detail
    assert land([bottles], [TAX], "USD")[0].landed_cost == D("51.00")


def test_a_charge_by_value_over_free_goods_is_refused_and_by_mass_is_not() -> None:
    gift = ReceivedLine("sample drum", D("0.00"), D(1000))
    with pytest.raises(Invalid, match="spread it by mass"):
        land([gift], [TAX], "USD")
    assert land([gift], [FREIGHT], "USD")[0].landed_cost == D("41.30")
    nothing = Charge(ChargeKind.TAX, D("0.00"), SpreadBy.VALUE)
    assert land([gift], [nothing], "USD")[0].landed_cost == 0


@pytest.mark.parametrize(
    ("line", "refusal", "pointer"),
    [
        (ReceivedLine("oil", D("1.005"), D(1)), MoneyTooFine, "/lines/0/price"),
        (ReceivedLine("oil", D("-1.00"), D(1)), MoneyNegative, "/lines/0/price"),
        (ReceivedLine("oil", D("NaN"), D(1)), MoneyNegative, "/lines/0/price"),
        (ReceivedLine("oil", D("1.00"), D(0)), QuantityNotPositive, "/lines/0/quantity"),
        (ReceivedLine("oil", D("1.00"), D("NaN")), QuantityNotPositive, "/lines/0/quantity"),
        (ReceivedLine("oil", D(1), D(1), discount=D(2)), Invalid, "/lines/0/discount"),
    ],
)
def test_what_cannot_be_landed(line: ReceivedLine, refusal: type[Invalid], pointer: str) -> None:
    with pytest.raises(refusal) as refused:
        land([line], [], "USD")
    assert refused.value.pointer == pointer


def test_a_currency_without_decimals_is_spread_in_whole_coins() -> None:
    lines = [ReceivedLine("oil", D(100), D(1)) for _ in range(3)]
    landed = land(lines, [Charge(ChargeKind.DUTY, D(100), SpreadBy.MASS)], "JPY")
    assert [line.charges for line in landed] == [D(34), D(33), D(33)]
    with pytest.raises(MoneyTooFine):
        land([HUMECTANT], [FREIGHT], "JPY")


money = st.decimals(0, 10**6, places=2)
grams = st.decimals("0.000001", 10**7, places=6)


@given(
    st.lists(st.tuples(money, grams), min_size=1, max_size=8),
    st.lists(st.tuples(money, st.sampled_from(SpreadBy)), max_size=4),
)
def test_no_cent_of_a_receipt_is_lost(
    goods: list[tuple[D, D]], bills: list[tuple[D, SpreadBy]]
) -> None:
    lines = [ReceivedLine("oil", price + 1, mass) for price, mass in goods]
    charges = [Charge(ChargeKind.OTHER, amount, spread_by) for amount, spread_by in bills]
    landed = land(lines, charges, "USD")
    paid = sum(line.goods for line in landed) + sum(charge.amount for charge in charges)
    assert sum(line.landed_cost for line in landed) == paid
    for place, charge in enumerate(charges):
        by_mass = charge.spread_by is SpreadBy.MASS
        weights = [line.quantity if by_mass else line.goods for line in lines]
        for line, weight in zip(landed, weights, strict=True):
            exact = Fraction(charge.amount) * Fraction(weight) / sum(map(Fraction, weights))
            assert abs(Fraction(line.shares[place]) - exact) < Fraction(1, 100)


P = Layer("P", D(20000), D("100.00"))
Q = Layer("Q", D(30000), D("192.00"))


@pytest.mark.parametrize(
    ("formula", "cost", "closing"),
    [
        (CostFormula.FIFO, "143.20", "108.80"),
        (CostFormula.AVERAGE, "150.00", "102.00"),
        (CostFormula.LOT, "160.00", "92.00"),
    ],
)
def test_three_cost_formulas_for_one_issue(formula: CostFormula, cost: str, closing: str) -> None:
    # Worked example, recomputed by hand: 20 kg P at 5.00, issue 8 kg, 30 kg Q at 6.40, then
    # issue 25 kg poured from Q.
    first = take(put((), P, formula), [Draw("P", D(8000))], formula)
    second = take(put(first.layers, Q, formula), [Draw("Q", D(25000))], formula)
    assert first.value == D("40.00")
    assert second.value == D(cost)
    assert merge(second.layers)[0] == Layer(None, D(17000), D(closing))


def test_draws_of_one_entry_are_costed_together_and_apart() -> None:
    taken = take([P, Q], [Draw("P", D(15000)), Draw("Q", D(10000))], CostFormula.FIFO)
    assert [(piece.draw, piece.lot, piece.quantity) for piece in taken.pieces] == [
        (0, "P", D(15000)),
        (1, "P", D(5000)),
        (1, "Q", D(5000)),
    ]
    assert (taken.value_of(0), taken.value_of(1)) == (D("75.00"), D("57.00"))
    assert taken.layers == (Layer("Q", D(25000), D("160.00")),)


def test_a_lot_in_two_layers_is_drawn_oldest_first_and_never_from_another_lot() -> None:
    layers = [P, Q, Layer("P", D(1000), D("9.00"))]
    taken = take(layers, [Draw("P", D(20500))], CostFormula.LOT)
    assert taken.value == D("104.50")
    with pytest.raises(NotEnough) as refused:
        take(layers, [Draw("P", D(20000)), Draw("P", D(1001))], CostFormula.LOT)
    assert refused.value.facts == {"lot": "P", "wanted": D(1001), "available": D(1000)}


def test_more_than_is_there_and_nothing_at_all_are_refused() -> None:
    with pytest.raises(NotEnough):
        take([P], [Draw("P", D(20001))], CostFormula.AVERAGE)
    with pytest.raises(NotEnough):
        take([], [Draw("P", D(1))], CostFormula.AVERAGE)
    for quantity in (D(0), D(-1), D("NaN")):
        with pytest.raises(QuantityNotPositive):
            take([P], [Draw("P", quantity)], CostFormula.FIFO)
        with pytest.raises(QuantityNotPositive):
            put([P], Layer("P", quantity, D(1)), CostFormula.FIFO)


@pytest.mark.parametrize(
    ("exact", "stored"),
    [
        (Fraction(1, 3), "0.333333"),
        (Fraction(2, 3), "0.666667"),
        (Fraction(25, 10**7), "0.000003"),
        (Fraction(-25, 10**7), "-0.000003"),
        (Fraction(2499999, 10**12), "0.000002"),
    ],
)
def test_stored_values_round_ties_away_from_zero(exact: Fraction, stored: str) -> None:
    assert round_stored(exact) == D(stored)


def test_a_value_that_does_not_divide_is_taken_whole_by_the_last_draw() -> None:
    third = Layer("P", D(3), D("1.000000"))
    taken = take([third], [Draw("P", D(1))] * 3, CostFormula.LOT)
    assert [piece.value for piece in taken.pieces] == [
        D("0.333333"),
        D("0.333334"),
        D("0.333333"),
    ]
    assert taken.layers == ()


quantities = st.decimals("0.000001", 10**6, places=6)
layers_of = st.lists(
    st.builds(Layer, st.sampled_from("ABC"), quantities, st.decimals(0, 10**6, places=6)),
    min_size=1,
    max_size=6,
)


@given(layers_of, st.sampled_from(CostFormula), st.data())
def test_pieces_and_what_is_left_are_exactly_what_was_there(
    layers: list[Layer], formula: CostFormula, data: st.DataObject
) -> None:
    there: dict[str | None, D] = {}
    for layer in layers:
        there[layer.lot] = there.get(layer.lot, D(0)) + layer.quantity
    draws = []
    for _ in range(data.draw(st.integers(1, 4))):
        lot = data.draw(st.sampled_from([lot for lot in there if lot]))
        if there[lot] > 0:
            part = data.draw(st.decimals("0.000001", there[lot], places=6))
            there[lot] -= part
            draws.append(Draw(lot, part))
    taken = take(layers, draws, formula)
    pieces, left = taken.pieces, taken.layers
    assert sum(piece.value for piece in pieces) + sum(layer.value for layer in left) == sum(
        layer.value for layer in layers
    )
    assert sum(piece.quantity for piece in pieces) + sum(layer.quantity for layer in left) == sum(
        layer.quantity for layer in layers
    )
    assert all(piece.value >= 0 for piece in pieces)
    assert all(layer.value >= 0 and layer.quantity > 0 for layer in left)
    for place, draw in enumerate(draws):
        own = [piece for piece in pieces if piece.draw == place]
        assert sum(piece.quantity for piece in own) == draw.quantity
        assert formula is not CostFormula.LOT or {piece.lot for piece in own} == {draw.lot}


@given(layers_of, st.sampled_from(CostFormula))
def test_drawing_everything_takes_all_the_value(layers: list[Layer], formula: CostFormula) -> None:
    taken = take(layers, [Draw(str(layer.lot), layer.quantity) for layer in layers], formula)
    assert taken.layers == ()
    assert taken.value == sum(layer.value for layer in layers)


@given(layers_of)
def test_moving_average_is_the_textbook_formula(layers: list[Layer]) -> None:
    pool: tuple[Layer, ...] = ()
    average, quantity = Fraction(0), Fraction(0)
    for layer in layers:
        pool = put(pool, layer, CostFormula.AVERAGE)
        received, cost = Fraction(layer.quantity), Fraction(layer.value)
        unit = cost / received
        average = (quantity * average + received * unit) / (quantity + received)
        quantity += received
    assert len(pool) == 1
    assert unit_cost(pool[0].value, pool[0].quantity) == round_stored(average)


def test_an_average_is_of_all_layers_however_they_lie() -> None:
    """10 at 10 and 10 at 30: 10 of them cost 200, where the oldest alone would cost 100."""
    layers = [Layer("A", D(10), D(100)), Layer("B", D(10), D(300))]
    taken = take(layers, [Draw("B", D(10))], CostFormula.AVERAGE)
    assert taken.value == 200
    assert taken.layers == (Layer(None, D(10), D(200)),)
