"""What a certificate allows of an ingredient: by the kind of product, the lowest that is stated."""

from decimal import Decimal
from typing import Any

from formulas.allowed import SCENTS, Flag, Maximum, Part, for_kinds, limits
from formulas.cautions import Facts, Step, cautions

ON, OFF = Maximum("leave_on", Decimal("0.5")), Maximum("rinse_off", Decimal(2), "category 9")
LIP = Maximum("lip", Decimal("0.1"), "category 1")
SCENT = Part(
    "Parfum",
    Decimal("0.6"),
    frozenset({Flag.FRAGRANCE}),
    max_percent=Decimal(1),
    category="hand wash",
    maxima=(ON, OFF, LIP),
)


def told(**facts: Any) -> dict[str, tuple[str, ...]]:
    return {one.code: one.about for one in cautions(Step.PRODUCT, Facts(parts=[SCENT], **facts))}


def test_the_lowest_of_the_kinds_counts() -> None:
    assert for_kinds(SCENT, {"leave_on"}) == ON
    assert for_kinds(SCENT, {"leave_on", "lip"}) == LIP
    assert for_kinds(SCENT, {"rinse_off", "baby"}) == OFF
    assert for_kinds(SCENT, {"baby"}) is None
    assert for_kinds(SCENT, ()) is None


def test_what_counts_where_the_kind_is_known_and_where_it_is_not() -> None:
    single = Maximum("", Decimal(1), "hand wash")
    assert limits(SCENT, {"leave_on"}) == [ON]
    assert limits(SCENT, {"baby"}) == [single]
    assert limits(SCENT, ()) == [single, ON, OFF, LIP]
    assert limits(Part("Parfum", Decimal(1)), ()) == []
    assert limits(Part("Parfum", Decimal(1)), {"eye"}) == []


def test_a_kind_is_called_as_its_certificate_calls_it() -> None:
    assert [one.called for one in (ON, OFF, LIP)] == ["leave-on", "category 9", "category 1"]
    assert {Flag.FRAGRANCE, Flag.ESSENTIAL_OIL} == SCENTS


def test_a_product_is_judged_by_how_and_where_it_is_used() -> None:
    """0.6 % is more than 0.5 % in what stays on, and less than 2 % in what is rinsed off."""
    on, off = told(use="leave_on"), told(use="rinse_off")
    assert on["above_certificate"] == ("Parfum: 0.6 %, at most 0.5 % for leave-on",)
    assert "above_certificate" not in off
    lip = told(use="rinse_off", areas=["lip"])
    assert lip["above_certificate"] == ("Parfum: 0.6 %, at most 0.1 % for category 1",)
    for one in (on, off, lip):
        assert "maximum_for_another_kind" not in one


def test_where_no_maximum_is_stated_for_the_kind_it_is_to_be_looked_up() -> None:
    baby = told(areas=["baby"])
    assert baby["maximum_for_another_kind"] == ("Parfum (only for hand wash)",)
    assert "above_certificate" not in baby
    unsaid = told()
    assert unsaid["maximum_for_another_kind"] == ("Parfum (only for hand wash)",)
    assert unsaid["above_certificate"] == (
        "Parfum: 0.6 %, at most 0.5 % for leave-on",
        "Parfum: 0.6 %, at most 0.1 % for category 1",
    )
    bare = Part("Rose oil", Decimal(1), frozenset({Flag.ESSENTIAL_OIL}))
    (found,) = cautions(Step.PRODUCT, Facts(parts=[bare]))
    assert (found.code, found.about) == ("maximum_for_another_kind", ("Rose oil",))
