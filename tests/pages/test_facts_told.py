"""What a figure of a working was reckoned from is told as its reader writes it."""

from api.pages.facts_told import told
from api.pages.reader import Reader

FAR = Reader("de", time_zone="Pacific/Auckland")


def test_a_moment_is_that_of_the_co_op() -> None:
    at = {"received_at": "2025-05-06T23:30:00+00:00"}
    assert told(at, FAR) == "received at: 7 May 2025, 11:30"


def test_the_name_of_a_maker_stays_as_it_is() -> None:
    """Though it begins as a quantity does, or has a point in it as a number has."""
    assert told({"from": "1000 Roses, Bench 2.0"}, FAR) == "from: 1000 Roses, Bench 2.0"
