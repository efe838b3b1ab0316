"""On what a late bill falls: against exact fractions, and to the cent."""

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from ledger.bills import Used, apportion

D = Decimal
CENT = D("0.01")
quantities = st.decimals("0.000001", "999999", places=6)
amounts = st.integers(-(10**7), 10**7).filter(bool).map(lambda cents: cents * CENT)


def test_half_left_takes_half() -> None:
    done = apportion(
        D("30.00"),
        received=D(10000),
        left=D(5000),
        in_layers=D(50),
        uses=[Used("A", D(2000)), Used("B", D(3000))],
        step=CENT,
    )
    assert done.to_stock == D("15.00")
    assert [(use.place, part) for use, part in done.uses] == [("A", D("6.00")), ("B", D("9.00"))]


def test_the_odd_cent_goes_to_the_largest_remainder() -> None:
    """1.00 over 1/3, 1/3 and 1/3: 0.34, 0.33, 0.33."""
    uses = [Used("A", D(1)), Used("B", D(1))]
    done = apportion(D("1.00"), received=D(3), left=D(1), in_layers=D(5), uses=uses, step=CENT)
    assert (done.to_stock, [part for _, part in done.uses]) == (D("0.34"), [D("0.33"), D("0.33")])


def test_a_credit_takes_no_more_than_the_layers_hold() -> None:
    done = apportion(
        D("-10.00"),
        received=D(4),
        left=D(2),
        in_layers=D("3.339999"),
        uses=[Used("A", D(2))],
        step=CENT,
    )
    assert (done.to_stock, done.to_used) == (D("-3.33"), D("-6.67"))


def test_what_nobody_is_known_to_have_used_is_told_apart() -> None:
    nobody: list[Used[str]] = []
    done = apportion(D("8.00"), received=D(4), left=D(1), in_layers=D(9), uses=nobody, step=CENT)
    assert done.to_stock == D("2.00")
    assert done.uses == ((Used(None, D(3)), D("6.00")),)


@given(
    amount=amounts,
    left=quantities,
    used=st.lists(quantities, max_size=6),
    in_layers=st.decimals(0, 10**6, places=6),
)
def test_nothing_is_lost_and_no_part_is_a_cent_off(
    amount: Decimal, left: Decimal, used: list[Decimal], in_layers: Decimal
) -> None:
    received = left + sum(used, D(0))
    uses = [Used(n, quantity) for n, quantity in enumerate(used)]
    done = apportion(
        amount, received=received, left=left, in_layers=in_layers, uses=uses, step=CENT
    )
    assert done.to_stock + done.to_used == amount
    assert in_layers + done.to_stock >= 0
    exact = Fraction(amount) * Fraction(left) / Fraction(received)
    if amount > 0 or in_layers + Decimal(float(exact)) > 1:
        assert abs(Fraction(done.to_stock) - exact) < Fraction(CENT)
        for use, part in done.uses:
            own = Fraction(amount) * Fraction(use.quantity) / Fraction(received)
            assert abs(Fraction(part) - own) < Fraction(CENT)
