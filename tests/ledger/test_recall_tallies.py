"""A recall list summed up: nothing is counted twice or left out, and kept as it was."""

from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import recall_snapshots
from ledger.errors import Invalid
from ledger.recall_buyers import Said, buyers_of
from ledger.recall_tallies import COUNTS, Count, Tally, as_facts, from_facts, percent_back, together
from ledger.recalling import DirectAccount, Listed, Place, RecallList
from tests.factories import TODAY, D

AMOUNT = st.decimals(0, 10_000, places=6)
KINDS = ("store", "batch", "consignment", "settlement", "issue", "loss")
COUNT = st.builds(Count, AMOUNT, AMOUNT)
TALLY = st.builds(Tally, AMOUNT, AMOUNT, st.integers(0, 9), *[COUNT] * 7, st.booleans())


@st.composite
def lists(draw: Any) -> RecallList:
    """Lots of both units with places of every kind, and what was sold of each."""
    lots, accounts = [], []
    for number in range(draw(st.integers(1, 5))):
        id = UUID(int=number)
        places = tuple(
            Place(kind, f"place {kind}", draw(AMOUNT), D(0), draw(st.booleans()))
            for kind in draw(st.lists(st.sampled_from(KINDS), unique=True))
        )
        sold = draw(AMOUNT)
        back = draw(st.decimals(0, sold, places=6))
        accounts.append(DirectAccount(f"buyer {number % 2}", id, sold, back))
        out = Place("sales", "cost of goods sold", sold - back, D(0), True)
        total = sum((place.quantity for place in places), sold - back)
        status = draw(st.sampled_from(["hold", "released", "rejected"]))
        counted = draw(st.booleans())
        lot = Listed(id, f"L{number}", "Lotion", counted, status, total, D(0), D(0), (*places, out))
        lots.append(lot)
    return RecallList(tuple(lots), tuple(accounts), draw(st.integers(0, 9)))


@given(lists())
def test_everything_is_in_one_count(listed: RecallList) -> None:
    tally = recall_snapshots.tally_of(listed)
    for counted, unit in ((True, "units"), (False, "grams")):
        there = sum(
            getattr(count, unit) for count in (tally.in_reach, tally.passed_on, tally.elsewhere)
        )
        out = getattr(tally.sold, unit) - getattr(tally.returned, unit)
        assert there + out == sum(lot.total for lot in listed.lots if lot.counted is counted)
        assert getattr(tally.held, unit) <= getattr(tally.in_reach, unit)


@given(lists())
def test_a_list_is_kept_as_it_was(listed: RecallList) -> None:
    assert recall_snapshots.from_facts(recall_snapshots.as_facts(listed)) == listed


@given(st.lists(TALLY, max_size=4))
def test_makers_are_summed_and_what_moves_between_them_is_not(tallies: list[Tally]) -> None:
    summed = together(tallies)
    assert "passed_on" not in summed
    assert summed["sold"].units == sum(one.sold.units for one in tallies)
    assert summed["in_reach"].grams == sum(one.in_reach.grams for one in tallies)
    assert [from_facts(as_facts(one)) for one in tallies] == tallies


def test_a_correction_changes_what_it_names() -> None:
    tally = Tally(D(1500), D(1400), 1, sold=Count(D(10), D(5)))
    found = tally.corrected({"sold": {"units": D(12)}})
    assert found.sold == Count(D(12), D(5))
    assert found.unexplained == D(100)
    assert found.makings == 1


def test_pieces_and_grams_are_counted_apart() -> None:
    count = Count(D(2), D(30)).plus(D(5), counted=True).plus(D("0.5"), counted=False)
    assert count == Count(D(7), D("30.5"))
    assert Count().plus(D(1), counted=True) == Count(units=D(1), grams=D(0))


def test_a_tally_is_kept_in_words() -> None:
    tally = Tally(D(1500), D("1400.5"), 1, held=Count(D(3), D("0.25")))
    facts = as_facts(tally)
    assert (facts["received"], facts["accounted"], facts["makings"]) == ("1500", "1400.5", 1)
    assert facts["held"] == {"units": "3", "grams": "0.25"}
    assert set(facts) == {"received", "accounted", "makings", "shrink_accounted", *COUNTS}
    assert facts["shrink_accounted"] is False
    assert facts["sold"] == {"units": "0", "grams": "0"}


def test_a_tally_from_before_says_by_which_rule_it_was_told() -> None:
    facts = as_facts(Tally(D(1000), D(1000), 1))
    del facts["shrink_accounted"]
    assert from_facts(facts) == Tally(D(1000), D(1000), 1, shrink_accounted=True)


def test_a_list_from_before_tells_its_figures_of_then() -> None:
    """Of 1 kg, 900 g are there and 100 shrank: then all of it was accounted for."""
    there = Place("store", "store", D(900), D(900), True)
    gone = Place("loss", "shrink", D(100), D(100), False)
    lot = Listed(UUID(int=1), "L1", "Wax", False, "hold", D(1000), D(0), D(0), (there, gone))
    today = RecallList((lot,), (), 0)
    assert (today.accounted, lot.unexplained, today.shrink_accounted) == (D(900), D(100), False)
    facts = recall_snapshots.as_facts(today)
    assert facts["lots"][0]["places"][1] == ["loss", "shrink", "100", "100", False]
    for place in facts["lots"][0]["places"]:
        place.pop()
    then = recall_snapshots.from_facts(facts)
    assert (then.accounted, then.lot.unexplained, then.shrink_accounted) == (D(1000), D(0), True)


def test_what_came_back_of_what_was_sold() -> None:
    """61 of 143 is 42.657 %."""
    assert percent_back(D(61), D(143)) == D("42.7")
    assert percent_back(D(1), D(8)) == D("12.5")
    assert percent_back(D("0.25"), D("0.5")) == D("50.0")
    assert percent_back(D(80), D(80)) == D("100.0")
    assert percent_back(D(0), D(0)) is None


def test_buyers_with_what_they_have_left() -> None:
    lot = UUID(int=1)
    shelf = Place("consignment", "quay shop", D(15), D(0), True)
    jar = Listed(lot, "L1", "Lotion", True, "hold", D(75), D(0), D(0), (shelf,))
    listed = RecallList((jar,), (DirectAccount("stall", lot, D(60), D(40)),), 0)
    told = [
        Said("stall", TODAY, False, None, "", D(0)),
        Said("stall", TODAY, True, lot, "destroyed", D(4)),
        Said("stall", TODAY, True, lot, "used_up", D(1)),
    ]
    shop, stall = buyers_of(listed, told)
    assert (shop.customer, shop.at_shop, shop.contacts) == ("quay shop", Count(D(15)), 0)
    (line,) = stall.lines
    assert (line.destroyed, line.used_up, line.left) == (D(4), D(1), D(15))
    assert (stall.contacts, stall.last_contact_on, stall.answered) == (3, TODAY, True)
    assert stall.total("left", counted=True) == D(15)
    assert stall.total("left", counted=False) == Decimal(0)


def test_a_correction_of_what_nothing_was_made_of_leaves_a_gap() -> None:
    """Of 3 kg only 2.5 are found, of which 0.5 were sold and 0.1 of these came back."""
    tally = Tally(D(3000), D(3000), in_reach=Count(grams=D(3000)))
    by = {"in_reach": D(2100), "sold": D(500), "returned": D(100)}
    found = tally.corrected({name: {"grams": grams} for name, grams in by.items()})
    assert (found.accounted, found.unexplained) == (D(2500), D(500))
    assert found.lies == Count(grams=D(2500))


SHRUNK = Tally(D(100), D(95), in_reach=Count(grams=D(95)), elsewhere=Count(grams=D(5)))


@pytest.mark.parametrize(
    ("in_reach", "elsewhere", "unexplained"),
    [
        # By hand, of 100 g: 95 in reach, and 5 that a count found gone.
        ("95", "0", "5"),
        ("100", "0", "0"),
        ("100", "5", "0"),
        ("95", "5", "5"),
        ("95", "3", "5"),
        ("90", "5", "10"),
        ("95", "8", "2"),
    ],
)
def test_what_shrank_is_not_missed_twice(in_reach: str, elsewhere: str, unexplained: str) -> None:
    by = {"in_reach": {"grams": D(in_reach)}, "elsewhere": {"grams": D(elsewhere)}}
    told = SHRUNK.corrected(by)
    told.check(by, counted=False, there=D(100))
    assert told.unexplained == D(unexplained)
    assert from_facts(as_facts(SHRUNK)).corrected(by) == told


def test_no_more_is_found_again_than_went_there() -> None:
    by = {"in_reach": {"grams": D("100.5")}}
    with pytest.raises(Invalid, match=r"comes to 100\.5 g, and no more than 100 g") as refused:
        SHRUNK.corrected(by).check(by, counted=False, there=D(100))
    assert refused.value.pointer == "/corrected/in_reach/grams"


def test_what_is_told_beyond_what_went_there_is_not_written_as_the_same() -> None:
    by = {"sold": {"grams": D("100.004")}}
    with pytest.raises(Invalid, match=r"comes to 100\.01 g, and no more than 100 g went there"):
        Tally(D(100), D(0)).corrected(by).check(by, counted=False, there=D(100))


PART = st.integers(0, 12).map(D)
TOLD = st.tuples(st.sampled_from([name for name in COUNTS if name != "made"]), PART)


@given(st.tuples(PART, PART, PART, PART, PART, PART), st.lists(TOLD, min_size=1, max_size=5))
def test_what_is_let_through_accounts_for_no_more_than_went_there(
    parts: tuple[Decimal, ...], corrections: list[tuple[str, Decimal]]
) -> None:
    """Of a lot of which nothing was made: all its places, what came back, and what shrank."""
    in_reach, sold, passed_on, elsewhere, back, gone = parts
    back, gone = min(back, sold), min(gone, elsewhere)
    there = in_reach + sold - back + passed_on + elsewhere
    tally = Tally(
        *(there, there - gone),
        in_reach=Count(grams=in_reach),
        sold=Count(grams=sold),
        returned=Count(grams=back),
        passed_on=Count(grams=passed_on),
        elsewhere=Count(grams=elsewhere),
    )
    assert tally.shrunk == gone
    by = {name: {"grams": grams} for name, grams in corrections}
    told = tally.corrected(by)
    try:
        told.check(by, counted=False, there=there)
    except Invalid:
        return
    assert 0 <= told.accounted <= there
    assert told.held.grams <= told.in_reach.grams
    assert told.returned.grams <= told.sold.grams


LAY = Tally(D(10), D(10), in_reach=Count(units=D(10)))


@pytest.mark.parametrize(
    ("by", "place", "why"),
    [
        (
            {"held": {"units": D(11)}},
            "held/units",
            "More is on hold than is within reach, and it is a part of that.",
        ),
        (
            {"in_reach": {"units": D(1)}, "sold": {"units": D(2)}, "returned": {"units": D(3)}},
            "returned/units",
            "More came back than was sold, and it is a part of that.",
        ),
        (
            {"sold": {"grams": D(5)}},
            "sold/grams",
            "None of it was made into anything: tell it in its own unit.",
        ),
        (
            {"sold": {"units": D(1)}},
            "sold/units",
            "This comes to 11 pieces, and no more than 10 pieces went there.",
        ),
    ],
)
def test_what_cannot_be_so_is_refused_where_it_was_told(
    by: dict[str, dict[str, Decimal]], place: str, why: str
) -> None:
    with pytest.raises(Invalid) as refused:
        LAY.corrected(by).check(by, counted=True, there=D(10))
    assert (refused.value.pointer, str(refused.value)) == (f"/corrected/{place}", why)


def test_all_that_is_there_may_be_held_and_all_that_was_sold_come_back() -> None:
    by = {name: {"units": D(10)} for name in ("in_reach", "held", "sold", "returned")}
    told = LAY.corrected(by)
    told.check(by, counted=True, there=D(10))
    assert told.unexplained == 0


def test_whether_any_was_made_into_something_can_be_corrected_too() -> None:
    """What was made is of another mass, so nothing follows of what is accounted for."""
    made = Tally(D(10), D(9), made=Count(grams=D(40)), in_reach=Count(grams=D(40)))
    none: dict[str, dict[str, Decimal]] = {"made": {"grams": D(0)}, "in_reach": {"grams": D(0)}}
    assert made.corrected(none).accounted == D(9)
    assert LAY.corrected({"made": {"grams": D(40)}}).accounted == D(10)
