"""What is asked of a material's days ahead, told as the day on which it runs out."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

import pytest

from ledger.running_out import Standing
from tests.factories import TODAY, D


def day(days: int) -> str:
    return (TODAY + timedelta(days=days)).isoformat()


def told(*rows: Any) -> date | None:
    return Standing.told([("position", None, None, "0", "0"), *rows], D(0), TODAY).runs_out_on


@pytest.mark.parametrize(("promised", "out"), [("100", 7), ("0", None)])
def test_a_promise_of_a_lot_without_a_last_day_leaves_the_dated_lot_alone(
    promised: str, out: int | None
) -> None:
    """By hand: 100 g are needed on the 5th day. Promised of the one lot, the other goes unused
    after the 7th; promised to nobody, they are taken of what ends first, and 100 g are left."""
    dated = ("lot", str(UUID(int=1)), day(6), "100", "0")
    undated = ("lot", str(UUID(int=2)), None, "100", promised)
    found = told(dated, undated, ("needs", None, day(4), "100", "0"))
    assert found == (None if out is None else TODAY + timedelta(days=out))
