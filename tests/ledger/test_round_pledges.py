"""What is to be bought for the pledges of a round, and how much of it is used in time."""

from dataclasses import replace

from ledger.order_terms import Need
from ledger.round_pledges import needs_of
from tests.ledger.toy_rounds import MILL, NORTH, OIL, QUAY, WAX, D, oil


def test_what_all_use_of_a_material_says_how_much_may_be_bought() -> None:
    """North Bench uses 2 kg a month and Mill Bench 1 kg; what they pledge they use in any case."""
    north, mill = (
        replace(oil(maker, 5000), use_per_month=D(use))
        for maker, use in ((NORTH, 2000), (MILL, 1000))
    )
    wax = replace(oil(NORTH, 300), material=WAX, use_per_month=D(50))
    assert needs_of([north, wax, mill]) == (
        Need(OIL, D(10_000), D(3000), sure=D(10_000)),
        Need(WAX, D(300), D(50), sure=D(300)),
    )


def test_where_one_does_not_say_what_it_uses_nothing_is_held_back() -> None:
    """Whoever asks for leftover alone is asked for its use, too."""
    north = replace(oil(NORTH, 5000), use_per_month=D(2000))
    free = (Need(OIL, D(5000)),)
    assert needs_of([north, oil(QUAY, None, leftover=True)]) == free
    assert needs_of([north, oil(MILL, 5000)]) == (Need(OIL, D(10_000)),)
    assert needs_of([]) == ()
