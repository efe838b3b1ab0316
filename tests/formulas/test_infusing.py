"""Infusions: what the solids keep, what evaporates, and what comes out, by a mass balance.

100 g of herb in 900 g of humectant give 750 g: the herb keeps 1.5 g per gram. That a drained
botanical keeps 1 to 2 g/g is common practice; the figures here were worked out by hand.
"""

from decimal import Decimal
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.infusing import (
    Infusion,
    Steeped,
    loss_percent,
    process_loss,
    retention_of,
    steeped,
)
from formulas.reconciling import places_of
from ledger.errors import Invalid
from tests.refusing import assert_refused

D = Decimal
grams = st.decimals("0.01", "100000", places=6)


def test_a_glycerite_of_a_tenth_herb_loses_a_quarter() -> None:
    """10 % · (1 + 1.5) = 25 %."""
    assert loss_percent(Infusion(D("1.5")), D(10)) == D(25)
    assert loss_percent(Infusion(D("1.5"), D(2)), D(10)) == D(27)
    assert loss_percent(Infusion(D(0)), D(10)) == D(10)
    assert loss_percent(Infusion(D(100)), D("0.5")) == D("50.5")
    assert loss_percent(Infusion(D(0), D(99)), D("0.5")) == D("99.5")


def test_a_loss_is_kept_to_six_decimals() -> None:
    """33.333333 % · 1.5 = 49.9999995 %, half to even."""
    assert loss_percent(Infusion(D("0.5")), D("33.333333")) == D("50.000000")


KEEPS = "A gram of solid keeps 0 to 100 g of liquid."
EVAPORATES = "Evaporation is at least 0 and below 100 percent of what is weighed in."
RETENTION, EVAPORATION = "/infusion/retention", "/infusion/evaporation_percent"
REFUSED = [
    (Infusion(D("-0.1")), "10", RETENTION, KEEPS),
    (Infusion(D("100.1")), "0.1", RETENTION, KEEPS),
    (Infusion(D(1), D("-0.1")), "10", EVAPORATION, EVAPORATES),
    (Infusion(D(1), D(100)), "10", EVAPORATION, EVAPORATES),
    (
        Infusion(D(1)),
        "0",
        "/infusion",
        "An infusion has a line that is spent: say which by `spent: true`.",
    ),
    (
        Infusion(D(1)),
        "50",
        "/infusion",
        "The solids would keep all of the liquid: 100 % would be lost. Steep less in it, or measure"
        " the retention again.",
    ),
]


@pytest.mark.parametrize(("infusion", "spent", "pointer", "says"), REFUSED)
def test_what_cannot_be_is_refused(infusion: Infusion, spent: str, pointer: str, says: str) -> None:
    assert_refused(lambda: loss_percent(infusion, D(spent)), Invalid, pointer, says)


def test_a_loss_is_stated_or_follows_and_never_both() -> None:
    spent = [("/phases/0/lines/0/spent", D(10))]
    assert process_loss(None, None, ()) == 0
    assert process_loss(D(3), None, ()) == D(3)
    assert process_loss(None, Infusion(D("1.5")), spent) == D(25)
    two = [*spent, ("/phases/1/lines/0/spent", D(2))]
    assert process_loss(None, Infusion(D("1.5")), two) == D(30)
    for stated, infusion, lines, pointer, says in (
        (
            D(25),
            Infusion(D("1.5")),
            spent,
            "/process_loss_percent",
            "The loss of an infusion follows from its spent lines, retention and evaporation: leave"
            " process_loss_percent out.",
        ),
        (
            D(100),
            None,
            [],
            "/process_loss_percent",
            "A process loss is at least 0 and below 100 percent.",
        ),
        (
            None,
            None,
            two,
            "/phases/0/lines/0/spent",
            "A spent line is of an infusion: give the formula's infusion with its retention.",
        ),
    ):
        assert_refused(
            partial(process_loss, stated, infusion, lines),
            Invalid,
            pointer,
            says,
        )


def test_a_weighed_marc_tells_evaporation_and_retention() -> None:
    """1,000 - 740 - 248 = 12 g evaporated; (248 - 100) ÷ 100 = 1.48 g/g kept."""
    found = steeped(
        Infusion(D("1.5"), D(1)),
        input_grams=D(1000),
        spent_grams=D(100),
        output_grams=D(740),
        marc_grams=D(248),
    )
    assert found == Steeped(
        input_grams=D(1000),
        spent_grams=D(100),
        output_grams=D(740),
        marc_grams=D(248),
        evaporation_grams=D(12),
        retention=D("1.48"),
        evaporation_percent=D("1.2"),
        yield_percent=D(74),
        expected_marc_grams=D(250),
        expected_evaporation_grams=D(10),
        expected_output_grams=D(740),
        expected_yield_percent=D(74),
    )


def test_without_a_marc_only_the_yield_is_measured() -> None:
    found = steeped(
        Infusion(D("1.5")),
        input_grams=D(1000),
        spent_grams=D(100),
        output_grams=D(745),
        marc_grams=None,
        apart_grams=D(5),
    )
    assert (found.evaporation_grams, found.retention, found.evaporation_percent) == (None,) * 3
    assert found.yield_percent == D("74.5")


def test_no_solid_keeps_nothing_that_could_be_told() -> None:
    assert retention_of(D(10), D(0)) is None
    assert retention_of(D("0.6"), D("0.5")) == D("0.2")
    assert retention_of(D(80), D(100)) == D("-0.2"), "what dissolves leaves less than went in"


def test_no_more_is_expected_to_be_lost_than_went_in() -> None:
    """Half of it herb that keeps twice its mass: nothing would run off."""
    assert Infusion(D(2)).loss_grams(D(200), D(100)) == D(200)


@given(grams, grams, grams, grams, st.one_of(st.none(), grams), grams, st.booleans())
def test_the_places_of_a_batch_sum_to_what_went_in(
    put_in: Decimal,
    output: Decimal,
    beside: Decimal,
    abnormal: Decimal,
    marc: Decimal | None,
    spent: Decimal,
    is_infusion: bool,
) -> None:
    found = places_of(
        input_grams=put_in,
        output_grams=output,
        by_product_grams=beside,
        joint_grams=D(0),
        abnormal_grams=abnormal,
        is_infusion=is_infusion,
        marc_grams=marc if is_infusion else None,
    )
    assert sum(amount for _, amount in found) == put_in
    if is_infusion and marc is not None:
        told = steeped(
            Infusion(D("1.5"), D(2)),
            input_grams=put_in,
            spent_grams=spent,
            output_grams=output,
            marc_grams=marc,
            apart_grams=abnormal + beside,
        )
        assert dict(found).get("evaporation", D(0)) == told.evaporation_grams
        assert told.retention == retention_of(marc, spent)


def test_every_place_has_its_own_grams() -> None:
    """1,000 g: 670 are filled, 40 scraped out, 30 drawn off, 30 spilt, 200 marc; 30 evaporated."""
    found = places_of(
        input_grams=D(1000),
        output_grams=D(670),
        by_product_grams=D(40),
        joint_grams=D(30),
        abnormal_grams=D(30),
        is_infusion=True,
        marc_grams=D(200),
    )
    assert found == (
        ("output", D(670)),
        ("by-products", D(40)),
        ("joint products", D(30)),
        ("abnormal loss", D(30)),
        ("marc", D(200)),
        ("evaporation", D(30)),
    )


def test_a_loss_has_the_name_that_is_known_for_it() -> None:
    def names(is_infusion: bool, marc: str | None, output: str = "700") -> list[str]:
        found = places_of(
            input_grams=D(1000),
            output_grams=D(output),
            by_product_grams=D(0),
            joint_grams=D(0),
            abnormal_grams=D(0),
            is_infusion=is_infusion,
            marc_grams=None if marc is None else D(marc),
        )
        return [place for place, _ in found]

    assert names(False, None) == ["output", "process loss"]
    assert names(True, None) == ["output", "marc and evaporation"]
    assert names(True, "250") == ["output", "marc", "evaporation"]
    assert names(True, "300") == ["output", "marc"]
    assert names(False, None, output="0") == ["output", "process loss"]
