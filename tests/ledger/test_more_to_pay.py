"""What later bills add to portions that were handed out: by hand, and on rounds made at random."""

from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.round_portions import Alone, Came, Due, Paid, Portion, more_to_pay, portions
from tests.ledger.test_round_portions import CENT, MILL, NORTH, OIL, rounds


def paid(maker: str, lot: str, quantity: str, amount: str) -> Paid[str, str]:
    return Paid(maker, OIL, lot, D(quantity), D(amount))


def test_a_later_bill_goes_over_the_lots_as_if_it_had_come_before() -> None:
    """Mill Bench got its oil out of two cans; a cent that cannot be halved stays where it was."""
    handed_out = [paid(NORTH, "a", "4000", "40"), paid(MILL, "b", "2000", "20.01")]
    handed_out.append(paid(MILL, "c", "2000", "20"))
    wanted = [Portion(NORTH, OIL, D(4000), D("47.50")), Portion(MILL, OIL, D(4000), D("47.51"))]
    more = more_to_pay(wanted, handed_out, coin=CENT)
    assert [(one.lot, amount) for one, amount in more] == [
        ("a", D("7.50")),
        ("b", D("3.75")),
        ("c", D("3.75")),
    ]
    back = [Portion(NORTH, OIL, D(4000), D("40")), Portion(MILL, OIL, D(4000), D("36.01"))]
    less = more_to_pay(back, handed_out, coin=CENT)
    assert [(one.lot, amount) for one, amount in less] == [("b", D(-2)), ("c", D(-2))]


@given(rounds(), st.lists(st.integers(-500, 5000), min_size=1, max_size=3))
@settings(deadline=None)
def test_later_bills_cost_each_what_they_would_have_cost_before(
    made: tuple[list[Due[str]], dict[str, Came], dict[str, Alone]], bills: list[int]
) -> None:
    """Together or one by one, and a credit as well; all that is billed is paid, to the cent."""
    dues, arrived, own = made
    first = portions(dues, dict(arrived), own, coin=CENT)
    so_far = [
        Paid(one.maker, one.material, str(place), one.quantity, one.amount)
        for place, one in enumerate(first.portions)
    ]
    assert more_to_pay(first.portions, so_far, coin=CENT) == []
    material, one = min(arrived.items())
    last = first
    for cents in bills:
        one = replace(one, charges=max(Fraction(0), one.charges + Fraction(cents, 100)))
        last = portions(dues, {**arrived, material: one}, own, coin=CENT)
        more = dict(more_to_pay(last.portions, so_far, coin=CENT))
        so_far = [replace(row, amount=row.amount + more.get(row, D(0))) for row in so_far]
    assert [row.amount for row in so_far] == [portion.amount for portion in last.portions]
    if so_far:
        assert sum(row.amount for row in so_far) == last.paid
