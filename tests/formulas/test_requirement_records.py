"""Records through the levels, and what expires before it is used, without a database."""

from datetime import date, timedelta
from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from formulas.composition import Composed, Ingredient, Kind, Recipe
from formulas.requirement_records import Facts, Record, Taken, Week, records_of
from ledger.expiring import InStore, expiring_unused
from ledger.netting import Netted

FIRST = date(2025, 5, 5)


def later(days: int) -> date:
    return FIRST + timedelta(days=days)


def part(name: str, percent: str, kind: Kind = Kind.MATERIAL) -> Composed:
    return Composed(Ingredient(kind, name), D(percent))


def test_an_intermediate_of_an_intermediate() -> None:
    """1 kg of cream, half of which is gel (loss 20 percent): 625 g of it, a fifth of that extract.

    The extract loses a half: 250 g of herb for 125 g. Cream itself has no formula of its own here.
    """
    facts = Facts(
        first=FIRST,
        weeks=2,
        needs={"gel": [(later(8), D(500))], "wax": [(later(8), D(500))]},
        arriving={},
        stored={"wax": [InStore(D(200))]},
        made={"gel": "gel formula", "extract": "extract formula"},
        recipes={
            "gel formula": Recipe(
                (part("extract formula", "20", Kind.FORMULA), part("water", "80")), D(20)
            ),
            "extract formula": Recipe((part("herb", "100"),), D(50)),
        },
        lead_days={"herb": 3},
    )
    found = records_of(facts)
    assert {name: record.net for name, record in found.items()} == {
        "gel": 500,
        "extract": 125,
        "water": 500,
        "herb": 250,
        "wax": 300,
    }
    herb = found["herb"].weeks
    assert [week.netted.net for week in herb] == [0, 250]
    assert [week.netted.release for week in herb] == [250, 0]
    assert herb[1].first == later(7)


def test_what_is_overdue_is_due_now_and_what_is_too_far_off_is_not() -> None:
    facts = Facts(
        first=FIRST,
        weeks=1,
        needs={"wax": [(later(-30), D(5)), (later(6), D(7))]},
        arriving={"wax": [(later(-2), D(4)), (later(7), D(100))]},
        stored={"wax": [InStore(D(3), later(0))]},
        made={},
        recipes={},
        lead_days={},
    )
    [week] = records_of(facts)["wax"].weeks
    netted = week.netted
    assert (netted.gross, netted.scheduled, netted.net) == (D(12), D(4), D(5))


def test_the_whole_record_of_a_material() -> None:
    """Three weeks by hand. Of 200 g that end on the fourth day 50 are used and 150 lost, which
    leaves 100 of the 300; with the 80 that come the third week lacks 120, and eight days' lead
    time are two weeks."""
    facts = Facts(
        first=FIRST,
        weeks=3,
        needs={"wax": [(later(1), D(50)), (later(15), D(300))]},
        arriving={"wax": [(later(8), D(80))], "oil": [(later(0), D(1))]},
        stored={"wax": [InStore(D(200), later(3)), InStore(D(100))]},
        made={},
        recipes={},
        lead_days={"wax": 8},
    )

    def week(number: int, expiring: int, *figures: int) -> Week:
        start = later(7 * number)
        netted = Netted(*(D(figure) for figure in figures))
        return Week(start, start + timedelta(days=6), D(expiring), netted)

    assert records_of(facts) == {
        "wax": Record(
            material="wax",
            formula=None,
            lead_days=8,
            usable=D(300),
            weeks=(
                week(0, 150, 200, 0, 0, 100, 120, 0),
                week(1, 0, 0, 80, 0, 180, 0, 0),
                week(2, 0, 300, 0, 120, 0, 0, 0),
            ),
        )
    }


def test_a_safety_stock_stays_and_is_no_need() -> None:
    """Of 300 of wax 100 are to stay: 50 leave 250; with 80 that come, 200 lack for 430 more.
    Without an order 100 would be missing in the end."""
    facts = Facts(
        first=FIRST,
        weeks=2,
        needs={"wax": [(later(1), D(50)), (later(9), D(430))], "oil": []},
        arriving={"wax": [(later(8), D(80))]},
        stored={"wax": [InStore(D(300))]},
        made={},
        recipes={},
        lead_days={},
        safety={"wax": D(100), "oil": D(7)},
    )
    found = records_of(facts)
    wax = found["wax"]
    assert [week.netted.net for week in wax.weeks] == [0, 200]
    assert [week.netted.projected for week in wax.weeks] == [250, 100]
    assert (wax.safety, wax.net, wax.needed, wax.left) == (D(100), D(200), D(480), D(-100))
    # What nobody needs is to stay too.
    oil = found["oil"]
    assert [week.netted.net for week in oil.weeks] == [7, 0]
    assert (oil.left, oil.safety) == (D(0), D(7))


def test_what_takes_a_week_to_make_needs_its_parts_a_week_before() -> None:
    facts = Facts(
        first=FIRST,
        weeks=3,
        needs={"gel": [(later(15), D(100))]},
        arriving={},
        stored={},
        made={"gel": "gel formula"},
        recipes={"gel formula": Recipe((part("herb", "100"),))},
        lead_days={"gel": 7, "herb": 7},
    )
    found = records_of(facts)
    assert found["gel"].lead_days == 7
    assert [week.netted.release for week in found["gel"].weeks] == [0, 100, 0]
    assert [week.netted.gross for week in found["herb"].weeks] == [0, 100, 0]
    assert [week.netted.release for week in found["herb"].weeks] == [100, 0, 0]


def test_what_is_made_in_no_time_needs_what_it_is_made_of_in_the_same_week() -> None:
    """The gel of the second week is made in it: its herb is needed then, four days late."""
    facts = Facts(
        first=FIRST,
        weeks=2,
        needs={"gel": [(later(10), D(100))]},
        arriving={},
        stored={},
        made={"gel": "gel formula", "salve": "salve formula"},
        recipes={
            "gel formula": Recipe((part("herb", "99.9999999"), part("dye", "0.0000001"))),
            "salve formula": Recipe((part("gel formula", "100", Kind.FORMULA),)),
        },
        lead_days={"salve": 30, "herb": 11},
    )
    found = records_of(facts)
    assert list(found) == ["gel", "herb"], "nobody needs the salve, and dye under a step is none"
    assert (found["gel"].formula, found["gel"].lead_days) == ("gel formula", None)
    assert [one.netted.release for one in found["gel"].weeks] == [0, 100]
    herb = found["herb"]
    assert (herb.taken, found["gel"].taken) == ((Taken("gel", later(7), D(100)),), ())
    assert (herb.formula, herb.lead_days, herb.usable) == (None, 11, D(0))
    assert [(one.netted.gross, one.netted.late) for one in herb.weeks] == [
        (D(0), D(100)),
        (D(100), D(0)),
    ]


def test_a_lot_is_of_use_on_its_last_day_and_lost_on_the_next() -> None:
    lots = [InStore(D(10), later(6)), InStore(D(10), later(5))]
    assert expiring_unused(lots, [(later(6), D(4))]) == [(later(5), D(10)), (later(6), D(6))]
    facts = Facts(FIRST, 2, {"wax": []}, {}, {"wax": lots}, {}, {}, {})
    wax = records_of(facts)["wax"]
    assert [one.expiring for one in wax.weeks] == [10, 10]
    assert list(wax.lost) == [(later(6), D(10)), (later(7), D(10))]
    assert (wax.needed, wax.left) == (D(0), D(20)), "what is lost unused is no need"


QUANTITIES = st.integers(1, 500).map(D)
DAYS = st.integers(0, 40).map(later)


@given(
    st.lists(st.builds(InStore, QUANTITIES, st.none() | DAYS), max_size=5),
    st.lists(st.tuples(DAYS, QUANTITIES), max_size=5),
)
def test_no_more_expires_than_was_there_nor_less_than_nobody_needs(
    stored: list[InStore], needs: list[tuple[date, D]]
) -> None:
    lost = expiring_unused(stored, needs)
    dated = sum((lot.quantity for lot in stored if lot.last_day), D(0))
    needed = sum((quantity for _, quantity in needs), D(0))
    gone = sum((left for _, left in lost), D(0))
    assert max(D(0), dated - needed) <= gone <= dated


def test_the_earliest_goes_first() -> None:
    stored = [InStore(D(10)), InStore(D(10), later(9)), InStore(D(10), later(3))]
    assert expiring_unused(stored, [(later(2), D(4)), (later(5), D(7))]) == [
        (later(3), D(6)),
        (later(9), D(3)),
    ]
    part_left = [InStore(D(4), later(3)), InStore(D("1.5"), later(4))]
    assert expiring_unused(part_left, [(later(2), D(5))]) == [(later(4), D("0.5"))]
