"""The mass balance of a recall closes for any genealogy, and loses nothing in rounding."""

from collections.abc import Hashable
from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from ledger.recall_balance import Making, carried, rounded

D = Decimal


@given(st.data())
def test_it_closes_for_random_genealogies(data: st.DataObject) -> None:
    """Lots are made of what is left of earlier ones; all of the root is found."""
    left: dict[Hashable, Decimal] = {0: D(data.draw(st.integers(1, 10_000)))}
    totals, makings = dict(left), []
    for child in range(1, data.draw(st.integers(1, 12))):
        chosen = data.draw(st.lists(st.sampled_from(list(left)), min_size=1, unique=True))
        inputs: dict[Hashable, Decimal] = {}
        for lot in chosen:
            taken = data.draw(st.integers(0, int(left[lot])))
            if taken:
                inputs[lot] = D(taken)
                left[lot] -= taken
        if not inputs:
            continue
        made = D(data.draw(st.integers(1, 5_000)))
        makings.append(Making(inputs, {child: made}))
        left[child] = totals[child] = made
    order = data.draw(st.permutations(makings))
    held = carried(0, totals, order)
    shares = [
        held.get(lot, Fraction(0)) * Fraction(q) / Fraction(totals[lot]) for lot, q in left.items()
    ]
    assert sum(shares) == totals[0]
    parts = rounded(shares)
    assert sum(parts) == totals[0]
    assert all(
        abs(Fraction(part) - share) < Fraction(1, 10**6)
        for part, share in zip(parts, shares, strict=True)
    )


def test_what_two_lots_share_is_shared_by_quantity() -> None:
    """6 kg: 900 g into 1,000 g; half of that and 100 g of the lot itself into 200 pieces."""
    makings = [
        Making({"inf": D(500), "root": D(100)}, {"jar": D(200)}),
        Making({"root": D(900)}, {"inf": D(1000)}),
    ]
    held = carried("root", {"root": D(6000), "inf": D(1000), "jar": D(200)}, makings)
    assert held == {"root": 6000, "inf": 900, "jar": 550}


def test_a_circle_is_left_out_and_so_shows() -> None:
    makings = [Making({"a": D(1)}, {"b": D(1)}), Making({"b": D(1)}, {"a": D(1)})]
    assert carried("root", {"root": D(5), "a": D(1), "b": D(1)}, makings) == {"root": 5}


def test_what_went_in_beside_the_root_carries_none_of_it() -> None:
    """Oil of another delivery, with a total and without one that is known."""
    makings = [Making({"root": D(8), "oil": D(2), "wax": D(1)}, {"jar": D(11)})]
    held = carried("root", {"root": D(10), "oil": D(5), "jar": D(11)}, makings)
    assert held == {"root": 10, "jar": 8}


def test_two_products_of_one_making_share_it() -> None:
    held = carried(
        "root",
        {"root": D(10), "one": D(1), "two": D(3)},
        [Making({"root": D(8)}, {"one": D(1), "two": D(3)})],
    )
    assert held == {"root": 10, "one": 2, "two": 6}


def test_a_lot_of_two_makings_holds_what_went_into_both() -> None:
    """6 of the root for 3 of the mix and 4 for its other 7, as when a batch is filled in turns."""
    makings = [Making({"root": D(6)}, {"mix": D(3)}), Making({"root": D(4)}, {"mix": D(7)})]
    held = carried("root", {"root": D(10), "mix": D(10)}, makings)
    assert held == {"root": 10, "mix": 10}


def test_what_is_filled_in_turns_is_whole_before_it_is_used() -> None:
    """Of 10, 4 go to the mix at once and 6 by way of an infusion; a jar takes half of the mix."""
    makings = [
        Making({"root": D(4)}, {"mix": D(4)}),
        Making({"mix": D(5)}, {"jar": D(1)}),
        Making({"root": D(6)}, {"infusion": D(6)}),
        Making({"infusion": D(6)}, {"mix": D(6)}),
    ]
    totals: dict[Hashable, Decimal] = {"root": D(10), "mix": D(10), "jar": D(1), "infusion": D(6)}
    held = carried("root", totals, makings)
    assert held == {"root": 10, "infusion": 6, "mix": 10, "jar": 5}
