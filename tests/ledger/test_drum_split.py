"""A drum's cost shared among what was drawn: nothing is lost, the heel included."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.drum_split import Part, settle_drum, split_drum
from ledger.errors import Invalid, SplitImpossible
from tests.refusing import assert_refused

DRAWN = [D(78800), D(59100), D(34400), D(24500)]


def test_a_drum_of_which_a_cent_would_be_lost() -> None:
    split = split_drum(D("889.57"), DRAWN, "USD")
    assert split.shares == split.values == [D("356.19"), D("267.14"), D("155.49"), D("110.75")]
    assert split.per_unit == D("4.520173")
    makers = "ABCD"
    parts = settle_drum("A", list(zip(makers, split.shares, strict=True)), [("B", D("83.97"))])
    assert parts == [
        Part("A", D("356.19"), D("805.60")),
        Part("B", D("267.14"), D("83.97")),
        Part("C", D("155.49"), D(0)),
        Part("D", D("110.75"), D(0)),
    ]
    assert [part.receives for part in parts] == [
        D("449.41"),
        D("-183.17"),
        D("-155.49"),
        D("-110.75"),
    ]


def test_what_is_finer_than_a_cent_goes_with_the_largest_share() -> None:
    split = split_drum(D("10.006667"), [D(1), D(2)], "USD", counted=True)
    assert split.shares == [D("3.34"), D("6.67")]
    assert split.values == [D("3.34"), D("6.666667")]
    assert split.per_unit == D("3.335556")


def test_two_draws_of_one_maker_are_one_part() -> None:
    parts = settle_drum("A", [("B", D(2)), ("B", D(3))], [("C", D(1)), ("C", D(1))])
    assert parts == [Part("A", D(0), D(3)), Part("B", D(5), D(0)), Part("C", D(0), D(2))]


def test_what_cannot_be_shared_is_refused() -> None:
    with pytest.raises(SplitImpossible):
        split_drum(D(1), [D(0)], "USD")
    assert_refused(
        lambda: settle_drum("A", [("A", D(5))], [("B", D("5.01"))]),
        Invalid,
        "/paid",
        "Others paid more than the 5 that this cost.",
    )
    assert [part.receives for part in settle_drum("A", [("A", D(5))], [("B", D(5))])] == [-5, 5]


@given(
    st.decimals(0, 10**6, places=6),
    st.lists(st.decimals("0.000001", 10**6, places=6), min_size=1, max_size=8),
    st.sampled_from(["USD", "JPY", "KWD"]),
)
def test_nothing_is_lost(cost: D, drawn: list[D], currency: str) -> None:
    split = split_drum(cost, drawn, currency)
    assert sum(split.values) == cost
    assert min(split.values) >= 0
    parts = settle_drum(0, list(enumerate(split.shares)), [])
    assert sum(part.receives for part in parts) == 0
