"""What a bill that comes after the hand-out costs each maker, worked by hand."""

from decimal import Decimal as D

from ledger.round_portions import Paid, Portion, more_to_pay
from tests.ledger.test_round_portions import CENT, MILL, NORTH, OIL, WAX


def test_a_late_bill_is_paid_by_lots_as_their_portions_were() -> None:
    """North Bench had 2 kg of one lot and 1 kg of another for 24.00; with freight of 5.00 that came
    late it is 29.00, of which 19.33 and 9.67 fall on them. Mill Bench gets two cents back."""
    paid = [
        Paid(NORTH, OIL, "first", D(2000), D("16.00")),
        Paid(NORTH, OIL, "second", D(1000), D("8.00")),
        Paid(NORTH, WAX, "third", D(100), D("1.00")),
        Paid(MILL, OIL, "second", D(500), D("4.00")),
    ]
    wanted = [
        Portion(NORTH, OIL, D(3000), D("29.00")),
        Portion(NORTH, WAX, D(100), D("1.00")),
        Portion(MILL, OIL, D(500), D("3.98")),
    ]
    assert more_to_pay(wanted, paid, coin=CENT) == [
        (paid[0], D("3.33")),
        (paid[1], D("1.67")),
        (paid[3], D("-0.02")),
    ]
