"""Net contents in both systems, and how long a product lasts."""

from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.labels import (
    Lasts,
    durability,
    months_after,
    net_contents,
    not_overstated,
)


@pytest.mark.parametrize(
    ("millilitres", "us", "metric"),
    [
        ("250", "8.45 fl oz", "250 mL"),
        # 8 fl oz as it is kept, in six decimals.
        ("236.588236", "8 fl oz", "236 mL"),
        ("473.176473", "16 fl oz (1 pt)", "473 mL"),
        ("500", "16.9 fl oz (1 pt 0.9 fl oz)", "500 mL"),
        ("1000", "33.8 fl oz (1 qt 1.8 fl oz)", "1 L"),
        ("1500", "50.7 fl oz (1 qt 1 pt 2.7 fl oz)", "1.5 L"),
        ("3785.411784", "128 fl oz (1 gal)", "3.78 L"),
        ("4.5", "0.15 fl oz", "4.5 mL"),
    ],
)
def test_liquids(millilitres: str, us: str, metric: str) -> None:
    found = net_contents(millilitres=D(millilitres), grams=None)
    assert (found.us, found.metric, found.by) == (us, metric, "volume")
    assert found.required_in_eu == (D(millilitres) >= 5)
    assert found.text == f"{us}, {metric}"


@pytest.mark.parametrize(
    ("grams", "us", "metric"),
    [
        ("50", "1.76 oz", "50 g"),
        ("226.796185", "8 oz", "226 g"),
        ("680.388555", "24 oz (1 lb 8 oz)", "680 g"),
        ("1000", "35.2 oz (2 lb 3.2 oz)", "1 kg"),
        ("4.9", "0.17 oz", "4.9 g"),
    ],
)
def test_all_else_by_weight(grams: str, us: str, metric: str) -> None:
    found = net_contents(millilitres=None, grams=D(grams))
    assert (found.us, found.metric, found.by) == (us, metric, "mass")
    assert found.text == f"Net Wt {us}, {metric}"


@given(st.decimals(min_value=D("0.02"), max_value=D(10**6), places=6))
def test_a_label_never_overstates(amount: D) -> None:
    stated = not_overstated(amount)
    assert stated <= amount + D("0.000001")
    assert amount - stated <= max(amount / 100, D("0.01"))
    assert len(stated.normalize().as_tuple().digits) <= 3


MADE = date(2025, 5, 6)


@pytest.mark.parametrize(
    ("expires", "opened", "kind", "text"),
    [
        (date(2026, 5, 6), 12, Lasts.BEST_BEFORE, "Best before 06 May 2026"),
        (date(2027, 11, 6), 12, Lasts.BEST_BEFORE, "Best before 06 Nov 2027"),
        (date(2027, 11, 7), 12, Lasts.AFTER_OPENING, "12M after opening"),
        (date(2027, 11, 7), None, Lasts.AFTER_OPENING, ""),
        (None, 12, Lasts.UNKNOWN, ""),
    ],
)
def test_thirty_months(expires: date | None, opened: int | None, kind: Lasts, text: str) -> None:
    found = durability(made_on=MADE, expires_on=expires, opened_months=opened)
    assert (found.kind, found.text) == (kind, text)
    assert bool(found.missing) == (text == "")


def test_without_a_date_the_shelf_life_is_asked_for() -> None:
    found = durability(made_on=MADE, expires_on=None, opened_months=None)
    said = "The shelf life is not known: say in the formula how many days it keeps."
    assert str(found.missing) == said


def test_months_end() -> None:
    assert months_after(date(2025, 8, 31), 6) == date(2026, 2, 28)
    assert months_after(date(2024, 12, 31), 30) == date(2027, 6, 30)
    assert months_after(MADE, 30) == date(2027, 11, 6)


def test_five_grams_and_five_millilitres_must_be_stated() -> None:
    for amount, stated in ((D(5), True), (D("4.99"), False)):
        assert net_contents(millilitres=amount, grams=None).required_in_eu is stated
        assert net_contents(millilitres=None, grams=amount).required_in_eu is stated


def test_what_is_missing_for_a_date_is_said_in_full() -> None:
    day = date(2025, 5, 6)
    unknown = durability(made_on=day, expires_on=None, opened_months=None)
    assert unknown.missing.endswith("say in the formula how many days it keeps.")
    long = durability(made_on=day, expires_on=date(2028, 5, 6), opened_months=None)
    assert (
        long.missing == "It lasts more than 30 months: state how many months it keeps once opened."
    )
