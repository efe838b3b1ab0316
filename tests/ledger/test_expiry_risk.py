"""What of dated lots is left at the end, reckoned by hand and held to what must always be so."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.expiry_risk import DatedLot, at_risk, runs_out_on

D = Decimal
TODAY = date(2026, 7, 1)


def lot(number: int, quantity: str, days: int) -> DatedLot:
    return DatedLot(UUID(int=number), D(quantity), TODAY + timedelta(days=days))


def left(lots: list[DatedLot], use: str) -> list[Decimal]:
    found = at_risk(lots, D(use), TODAY)
    return [found[one.lot] for one in lots]


def test_the_days_from_today_to_the_last_one_count() -> None:
    """Ten days with their both ends, 100 g a day: 1000 of 1500 g."""
    assert left([lot(1, "1500", 9)], "100") == [D(500)]
    assert left([lot(1, "1000", 9)], "100") == [D(0)]


def test_the_lot_that_ends_first_is_used_first() -> None:
    """Until the fifth day 500 g, all of the first lot; until the tenth 1000, so 500 of the next."""
    lots = [lot(2, "800", 9), lot(1, "500", 4)]
    assert left(lots, "100") == [D(300), D(0)]


def test_what_is_left_of_an_earlier_lot_is_not_used_later() -> None:
    """Only 200 of the first lot's 900 g go in time; the second has the three days after those."""
    assert left([lot(1, "900", 1), lot(2, "1000", 4)], "100") == [D(700), D(700)]


def test_without_use_all_of_it_is_at_risk() -> None:
    assert left([lot(1, "900", 400)], "0") == [D(900)]


def test_past_its_day_nothing_is_used_of_it() -> None:
    assert left([lot(1, "900", -1), lot(2, "300", 0)], "200") == [D(900), D(100)]


def test_what_is_promised_goes_in_time_beside_the_usual_use() -> None:
    """Until the fifth day 500 g go of 900, or the 700 that are promised; then until the tenth 300
    of the next. What is past its day nobody takes."""
    promised = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(700))
    assert left([promised, lot(2, "800", 9)], "100") == [D(200), D(500)]
    more = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(300))
    assert left([more], "100") == [D(400)]
    over = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(901))
    assert left([over], "0") == [D(0)]
    past = DatedLot(UUID(int=1), D(900), TODAY - timedelta(days=1), D(700))
    assert left([past], "100") == [D(900)]


@given(
    lots=st.lists(st.tuples(st.integers(0, 10**6), st.integers(-5, 400)), min_size=1, max_size=8),
    use=st.integers(0, 5000),
)
def test_no_more_is_used_than_is_there_or_than_the_days_allow(
    lots: list[tuple[int, int]], use: int
) -> None:
    dated = [lot(n, str(quantity), days) for n, (quantity, days) in enumerate(lots)]
    found = at_risk(dated, D(use), TODAY)
    assert all(0 <= found[one.lot] <= one.quantity for one in dated)
    for end in dated:
        until = [one for one in dated if one.last_day <= end.last_day]
        used = sum((one.quantity - found[one.lot] for one in until), D(0))
        assert used <= use * max(0, (end.last_day - TODAY).days + 1)


@pytest.mark.parametrize(
    ("available", "use", "days"),
    [
        ("1000", "100", 10),
        ("1099", "100", 10),
        ("0", "100", 0),
        ("-5", "100", 0),
        ("1", "3", 0),
        ("0", "0.5", 0),
    ],
)
def test_when_it_runs_out(available: str, use: str, days: int) -> None:
    assert runs_out_on(D(available), D(use), TODAY) == TODAY + timedelta(days=days)


@pytest.mark.parametrize(("available", "use"), [("1000", "0"), ("999999999999", "0.000001")])
def test_what_nobody_uses_does_not_run_out(available: str, use: str) -> None:
    assert runs_out_on(D(available), D(use), TODAY) is None
    assert runs_out_on(D(3650), D(1), TODAY) is not None
