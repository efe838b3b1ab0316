"""First expiry first, judged on the day of the batch."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.picking import Pick, PickableLot, pick
from ledger.costing import CostFormula, Draw, Layer, take

L1 = PickableLot("L1", D(900), 1, expires_on=date(2025, 5, 10))
L2 = PickableLot("L2", D(1450), 2, expires_on=date(2025, 6, 30))
L3 = PickableLot("L3", D(2600), 3, expires_on=date(2025, 9, 30))
LAYERS = [
    Layer("L1", D(900), D("10.260000")),
    Layer("L2", D(1450), D("17.545000")),
    Layer("L3", D(2600), D("33.540000")),
]


@pytest.mark.parametrize(
    ("day", "picks", "cost"),
    [
        (date(2025, 5, 14), [("L2", 1450), ("L3", 1550)], "37.54"),
        (date(2025, 5, 9), [("L1", 900), ("L2", 1450), ("L3", 650)], "36.19"),
    ],
)
def test_a_lot_expired_on_the_batch_day_is_passed_over(
    day: date, picks: list[tuple[str, int]], cost: str
) -> None:
    # Worked example, recomputed by hand: 3,000 g from lots at 11.40, 12.10 and 12.90 a kilogram.
    picked = pick([L3, L1, L2], D(3000), day)
    assert picked.picks == tuple(Pick(lot, D(grams)) for lot, grams in picks)
    assert picked.short == 0
    draws = [Draw(p.lot, p.quantity) for p in picked.picks]
    assert take(LAYERS, draws, CostFormula.LOT).value == D(cost)


def test_the_last_day_itself_still_counts() -> None:
    assert L1.usable_on(date(2025, 5, 10))
    assert not L1.usable_on(date(2025, 5, 11))


def test_the_earlier_of_expiry_and_retest_is_the_last_day() -> None:
    retest_first = PickableLot(
        "R", D(1), 1, expires_on=date(2026, 1, 1), retest_on=date(2025, 7, 1)
    )
    expiry_first = PickableLot(
        "E", D(1), 1, expires_on=date(2025, 7, 1), retest_on=date(2026, 1, 1)
    )
    assert retest_first.last_day == expiry_first.last_day == date(2025, 7, 1)
    assert PickableLot("N", D(1), 1).last_day is None
    assert PickableLot("R", D(1), 1, retest_on=date(2025, 7, 1)).last_day == date(2025, 7, 1)


def test_an_open_lot_is_used_within_its_days_and_before_what_is_sealed() -> None:
    for expires, retest in ((date(2026, 1, 1), None), (None, date(2026, 1, 1)), (None, None)):
        lot = PickableLot("O", D(1), 1, expires_on=expires, retest_on=retest)
        assert replace(lot, use_by=date(2025, 7, 1)).last_day == date(2025, 7, 1)
    expires_first = PickableLot("E", D(1), 1, expires_on=date(2025, 6, 1), use_by=date(2025, 7, 1))
    assert expires_first.last_day == date(2025, 6, 1)
    retest_first = PickableLot("R", D(1), 1, retest_on=date(2025, 6, 1), use_by=date(2025, 7, 1))
    assert retest_first.last_day == date(2025, 6, 1)
    open_one = PickableLot("O", D(500), 4, use_by=date(2025, 6, 15))
    assert [one.lot for one in pick([L2, L3, open_one], D(600), date(2025, 6, 15)).picks] == [
        "O",
        "L2",
    ]
    assert [one.lot for one in pick([L2, open_one], D(600), date(2025, 6, 16)).picks] == ["L2"]


@pytest.mark.parametrize("status", ["quarantine", "rejected", "hold"])
def test_only_released_lots_are_picked(status: str) -> None:
    held = PickableLot("H", D(500), 1, status=status)
    picked = pick([held], D(200), date(2025, 5, 1))
    assert (picked.picks, picked.short, picked.lots) == ((), D(200), (held,))


def test_undated_lots_come_last_and_ties_go_to_the_earlier_receipt() -> None:
    day = date(2025, 6, 30)
    undated = PickableLot("U", D(10), 1)
    later = PickableLot("B", D(10), 3, expires_on=day)
    earlier = PickableLot("A", D(10), 2, expires_on=day)
    older_undated = PickableLot("T", D(10), 0)
    picked = pick([undated, later, earlier, older_undated], D(35), day)
    assert [p.lot for p in picked.picks] == ["A", "B", "T", "U"]
    assert picked.picks[-1].quantity == D(5)


def test_the_next_line_finds_what_the_first_left() -> None:
    day = date(2025, 5, 14)
    first = pick([L1, L2, L3], D(1000), day)
    second = pick(first.lots, D(3500), day)
    assert second.picks == (Pick("L2", D(450)), Pick("L3", D(2600)))
    assert second.short == D(450)


DAY = date(2025, 6, 1)
days = st.one_of(st.none(), st.integers(-3, 3).map(lambda n: DAY + timedelta(days=n)))
lots_strategy = st.lists(
    st.builds(
        PickableLot,
        lot=st.uuids().map(str),
        available=st.decimals(0, 1000, places=2),
        received_order=st.integers(0, 5),
        status=st.sampled_from(["released", "hold"]),
        expires_on=days,
        retest_on=days,
    ),
    max_size=8,
)


@given(lots_strategy, st.decimals("0.01", 5000, places=2))
def test_a_pick_is_all_that_can_be_had_in_order(lots: list[PickableLot], quantity: D) -> None:
    picked = pick(lots, quantity, DAY)
    by_id = {lot.lot: lot for lot in lots}
    assert sum(p.quantity for p in picked.picks) + picked.short == quantity
    usable = [lot for lot in lots if lot.usable_on(DAY)]
    assert picked.short == max(D(0), quantity - sum(lot.available for lot in usable))
    turns = [by_id[p.lot].last_day or date.max for p in picked.picks]
    assert turns == sorted(turns)
    for p in picked.picks:
        assert by_id[p.lot] in usable
        assert 0 < p.quantity <= by_id[p.lot].available
    # Nothing is left in a lot while a later one is poured from.
    assert all(p.quantity == by_id[p.lot].available for p in picked.picks[:-1])
    assert sum(lot.available for lot in lots) - sum(lot.available for lot in picked.lots) == sum(
        p.quantity for p in picked.picks
    )


def test_those_that_are_named_come_before_all_others_in_their_order() -> None:
    picked = pick([L1, L2, L3], D(4000), date(2025, 5, 1), before=["L3", "L2"])
    assert [one.lot for one in picked.picks] == ["L3", "L2"]
    rest = pick([L1, L2, L3], D(4000), date(2025, 5, 1), before=["L2"])
    assert [one.lot for one in rest.picks] == ["L2", "L1", "L3"]
