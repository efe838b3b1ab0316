"""What came of a round, handed out: worked by hand, and tried on rounds made up at random."""

from collections.abc import Mapping, Sequence
from decimal import Decimal as D
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.round_portions import (
    Alone,
    AloneOrder,
    Came,
    Due,
    HandedOut,
    Portion,
    Taken,
    from_lots,
    portions,
)

CENT = D("0.01")
NORTH, MILL, QUAY = "North Bench", "Mill Bench", "Quay Bench"
OIL, WAX, JAR = "oil", "wax", "jar"


def came(
    ordered: str, goods: str, *, now: str = "", cost: str = "", charges: str = "0", counted: int = 0
) -> Came:
    """As ordered, unless something else is said."""
    paid = Fraction(cost or goods)
    return Came(D(ordered), D(goods), D(now or ordered), paid, Fraction(charges), bool(counted))


def due(maker: str, material: str, quantity: str, amount: str, *leftover: str) -> Due[str]:
    return Due(maker, material, D(quantity), D(amount), *(D(one) for one in leftover))


def alone(cost: str, freight: str = "0", **goods: str) -> Alone:
    order = AloneOrder(D(freight), {material: D(amount) for material, amount in goods.items()})
    return Alone(D(cost), [order])


def handed(
    dues: Sequence[Due[str]], arrived: Mapping[str, Came], by_itself: Mapping[str, Alone] = {}
) -> HandedOut[str]:
    """Whoever is not named could have done no better than twice what it pays."""
    makers = {due.maker for due in dues}
    free = {maker: Alone(D(10**6)) for maker in makers} | dict(by_itself)
    return portions(dues, dict(arrived), free, coin=CENT)


def told(found: HandedOut[str]) -> list[tuple[str, object, str, str]]:
    return [
        (one.maker, one.material, f"{one.quantity:f}", f"{one.amount:f}") for one in found.portions
    ]


# Ten kilograms for 80.00 and 28.00 of freight, split between three: 108.00 in all.
OILS = [
    due(NORTH, OIL, "4000", "43.20"),
    due(MILL, OIL, "3000", "32.40"),
    due(QUAY, OIL, "3000", "32.40"),
]


def test_what_came_as_ordered_costs_what_was_split() -> None:
    dues = [
        due(NORTH, OIL, "4000", "41.17"),
        due(NORTH, WAX, "500", "7.01"),
        due(MILL, OIL, "3000", "30.01", "3000", "24.00"),
        due(QUAY, WAX, "500", "9.99"),
    ]
    arrived = {
        OIL: came("10000", "80", charges="20.18"),
        WAX: came("1000", "12"),
    }
    own = {NORTH: alone("48.18", "28", oil="20.18"), QUAY: alone("9.99", "3", wax="6.99")}
    found = handed(dues, arrived, own | {MILL: alone("30.01", oil="30.01")})
    assert told(found) == [
        (NORTH, OIL, "4000", "41.17"),
        (NORTH, WAX, "500", "7.01"),
        (MILL, OIL, "6000", "54.01"),
        (QUAY, WAX, "500", "9.99"),
    ]
    assert (found.paid, found.within_alone) == (D("112.18"), True)


def test_a_short_delivery_goes_as_was_pledged_and_freight_stays() -> None:
    """7 of 10 kg for 56.00, and the freight whole: 84.00 instead of 108.00."""
    found = handed(OILS, {OIL: came("10000", "80", now="7000", cost="56", charges="28")})
    assert told(found) == [
        (NORTH, OIL, "2800.00", "33.60"),
        (MILL, OIL, "2100.00", "25.20"),
        (QUAY, OIL, "2100.00", "25.20"),
    ]
    assert found.paid == 84


def test_what_lacks_of_one_material_is_nothing_to_who_takes_others() -> None:
    dues = [*OILS, due(QUAY, WAX, "900", "12.00"), due("Lane", WAX, "100", "1.50")]
    arrived = {
        OIL: came("10000", "80", charges="28"),
        WAX: came("1000", "13.50", now="500", cost="6.75"),
    }
    found = handed(dues, arrived)
    assert told(found) == [
        (NORTH, OIL, "4000", "43.20"),
        (MILL, OIL, "3000", "32.40"),
        (QUAY, OIL, "3000", "32.40"),
        (QUAY, WAX, "450.00", "6.00"),
        ("Lane", WAX, "50.00", "0.75"),
    ]


def test_grams_go_in_steps_of_the_scale_and_the_rest_to_who_has_most() -> None:
    dues = [due(NORTH, OIL, "10", "1"), due(MILL, OIL, "20", "2"), due(QUAY, OIL, "10", "1")]
    arrived = came("40", "4", now="10.006001", cost="4")
    found = handed(dues, {OIL: arrived})
    # A quarter each is 2.50, half 5.00; what is finer than a step goes with the half.
    assert [f"{one.quantity:f}" for one in found.portions] == ["2.50", "5.006001", "2.50"]
    # Of three steps and a part of one two go to who has most, and the part with them.
    found = handed(
        [due(NORTH, OIL, "3", "3"), due(MILL, OIL, "2", "2")],
        {OIL: came("5", "5", now="0.036", cost="1")},
    )
    assert [f"{one.quantity:f}" for one in found.portions] == ["0.026", "0.01"]


def test_pieces_go_whole_by_largest_remainder() -> None:
    dues = [due(NORTH, JAR, "5", "5"), due(MILL, JAR, "3", "3"), due(QUAY, JAR, "2", "2")]
    found = handed(dues, {JAR: came("10", "10", now="7", cost="7", counted=1)})
    # 3.5, 2.1 and 1.4; the money goes as the pledges do.
    assert told(found) == [
        (NORTH, JAR, "4", "3.50"),
        (MILL, JAR, "2", "2.10"),
        (QUAY, JAR, "1", "1.40"),
    ]


def test_leftover_waits_until_all_pledges_are_served() -> None:
    """Ordered were 10 kg for 80.00; pledged 6 kg; MILL buys 3 kg of the rest, QUAY 1 kg."""
    dues = [
        due(NORTH, OIL, "6000", "60.00"),
        due(MILL, OIL, "0", "0", "3000", "24.00"),
        due(QUAY, OIL, "0", "0", "1000", "8.00"),
    ]
    rest = handed(dues, {OIL: came("10000", "80", now="8000", cost="64", charges="12")})
    assert told(rest) == [
        (NORTH, OIL, "6000.00", "60.00"),
        (MILL, OIL, "1500.00", "12.00"),
        (QUAY, OIL, "500.00", "4.00"),
    ]
    none = handed(dues, {OIL: came("10000", "80", now="6000", cost="48", charges="12")})
    assert told(none) == [(NORTH, OIL, "6000.00", "60.00")]
    less = handed(dues, {OIL: came("10000", "80", now="3000", cost="24", charges="12")})
    assert told(less) == [(NORTH, OIL, "3000.00", "36.00")]


def test_half_a_gram_of_leftover_is_for_who_asked_for_it() -> None:
    dues = [due(NORTH, OIL, "10", "1"), due(MILL, OIL, "10", "1", "2", "0.20")]
    found = handed(dues, {OIL: came("22", "2.20", now="20.5", cost="2.05")})
    assert [one.quantity for one in found.portions] == [D(10), D("10.5")]


def test_what_came_beyond_the_order_stays_with_the_buyer_at_its_cost() -> None:
    found = handed(OILS, {OIL: came("10000", "80", now="12500", cost="100", charges="28")})
    assert told(found) == told(handed(OILS, {OIL: came("10000", "80", charges="28")}))
    assert found.paid == 108
    # More for the same price makes it cheaper for all.
    more = handed(OILS, {OIL: came("10000", "80", now="12500", charges="28")})
    assert more.paid == 92
    assert sum(one.amount for one in more.portions) == 92


def test_another_price_is_borne_by_who_takes_it_and_freight_by_all() -> None:
    dues = [*OILS, due("Lane", WAX, "1000", "12.00")]
    arrived = {OIL: came("10000", "80", cost="90.80", charges="28"), WAX: came("1000", "12")}
    dearer = handed(dues, arrived)
    assert [one.amount for one in dearer.portions] == [D("47.52"), D("35.64"), D("35.64"), D(12)]
    arrived = {OIL: came("10000", "80", charges="40"), WAX: came("1000", "12")}
    freight = handed(dues, arrived)
    assert [one.amount for one in freight.portions] == [
        D("47.52"),
        D("35.64"),
        D("35.64"),
        D("13.2"),
    ]


def test_who_gets_nothing_pays_nothing() -> None:
    """The wax did not come; its freight falls on the oil."""
    dues = [*OILS, due("Lane", WAX, "1000", "15.00")]
    arrived = {
        OIL: came("10000", "80", charges="31"),
        WAX: came("1000", "12", now="0", cost="0"),
    }
    found = handed(dues, arrived)
    assert {one.maker for one in found.portions} == {NORTH, MILL, QUAY}
    assert [one.amount for one in found.portions] == [D("44.40"), D("33.30"), D("33.30")]


def test_a_pledge_too_small_for_a_step_gets_nothing() -> None:
    dues = [due(NORTH, OIL, "1000", "9.90"), due(MILL, OIL, "0.01", "0.10")]
    found = handed(dues, {OIL: came("1000.01", "10", now="100", cost="1")})
    assert told(found) == [(NORTH, OIL, "100.00", "1.00")]


def test_nothing_came() -> None:
    found = handed(OILS, {OIL: came("10000", "80", now="0", cost="0", charges="28")})
    assert found == HandedOut((), D(28), True)


def test_goods_that_cost_more_than_they_are_asked_for_never_earn_money() -> None:
    """The split asks 5.00 for wax that costs 12.00; half of it would come to less than nothing."""
    dues = [due(NORTH, OIL, "1000", "17.00"), due(MILL, WAX, "1000", "5.00")]
    arrived = {OIL: came("1000", "10"), WAX: came("1000", "12", now="500", cost="6")}
    found = handed(dues, arrived)
    assert told(found) == [(NORTH, OIL, "1000", "16.00"), (MILL, WAX, "500.00", "0.00")]


def test_nobody_pays_more_than_alone_as_long_as_the_others_can_bear_it() -> None:
    """Freight has doubled: 28.00 more. QUAY saved nothing, and MILL only a coin."""
    arrived = {OIL: came("10000", "80", charges="56")}
    own = {QUAY: Alone(D("32.40")), MILL: Alone(D("32.41")), NORTH: Alone(D("200"))}
    found = handed(OILS, arrived, own)
    assert [one.amount for one in found.portions] == [D("71.19"), D("32.41"), D("32.40")]
    assert found.within_alone
    own[NORTH] = Alone(D("71.19"))
    assert handed(OILS, arrived, own).within_alone
    own[NORTH] = Alone(D("71.18"))
    beyond = handed(OILS, arrived, own)
    assert not beyond.within_alone
    assert [one.amount for one in beyond.portions] == [D("71.19"), D("32.41"), D("32.40")]
    free = handed(OILS, arrived, {QUAY: Alone(D(0))})
    assert [one.amount for one in free.portions] == [D("77.71"), D("58.29"), D(0)]
    nothing = dict.fromkeys((NORTH, MILL, QUAY), Alone(D(0)))
    assert [one.amount for one in handed(OILS, arrived, nothing).portions] == [
        D("45.34"),
        D("45.33"),
        D("45.33"),
    ]


def test_alone_is_what_came_alone_at_what_it_really_cost() -> None:
    """QUAY alone: 24.00 of oil, 12.00 of wax, each with a freight of 5.00. The oil comes at half
    its quantity and a quarter more a kilogram, 15.00; no wax, and no freight for it: 20.00."""
    orders = [AloneOrder(D(5), {OIL: D(24)}), AloneOrder(D(5), {WAX: D(12)})]
    dues = [
        due(QUAY, OIL, "3000", "20.00"),
        due(QUAY, WAX, "1000", "10.00"),
        due(NORTH, OIL, "7000", "60.00"),
        due(NORTH, WAX, "9000", "90.00"),
    ]
    arrived = {
        OIL: came("10000", "80", now="5000", cost="50", charges="100"),
        WAX: came("10000", "100", now="0", cost="0"),
    }
    found = handed(dues, arrived, {QUAY: Alone(D(46), orders)})
    assert told(found) == [(QUAY, OIL, "1500.00", "20.00"), (NORTH, OIL, "3500.00", "130.00")]
    assert found.within_alone


def test_what_nobody_was_asked_for_is_borne_by_who_could_have_paid_for_it() -> None:
    """The goods were free; what they cost now goes as far as each would have gone alone."""
    dues = [due(NORTH, OIL, "1000", "0.00"), due(MILL, WAX, "1000", "0.00")]
    arrived = {OIL: came("1000", "0", charges="6"), WAX: came("1000", "0")}
    found = handed(dues, arrived, {NORTH: Alone(D(10)), MILL: Alone(D(20))})
    assert [one.amount for one in found.portions] == [D(2), D(4)]
    assert found.within_alone
    # Whoever was asked for something, and pays as much as alone, bears nothing of it.
    dues.append(due(QUAY, JAR, "10", "5.00"))
    own = {NORTH: Alone(D(10)), MILL: Alone(D(20)), QUAY: Alone(D(5))}
    found = handed(dues, arrived | {JAR: came("10", "5")}, own)
    assert [one.amount for one in found.portions] == [D(2), D(4), D(5)]


def test_leftover_is_within_what_it_costs() -> None:
    dues = [due(NORTH, OIL, "500", "5.00"), due(MILL, OIL, "0", "0", "500", "5.00")]
    own = {NORTH: Alone(D(90)), MILL: Alone(D(0))}
    dear = handed(dues, {OIL: came("1000", "10", cost="12", charges="2")}, own)
    assert [one.amount for one in dear.portions] == [D(8), D(6)]
    short = handed(dues, {OIL: came("1000", "10", now="750", cost="7.5", charges="4")}, own)
    assert [one.amount for one in short.portions] == [D(9), D("2.50")]


def test_a_lot_that_fits_goes_to_whom_it_was_drawn_for() -> None:
    wanted = [
        Portion(NORTH, OIL, D(300), D("3.01")),
        Portion(MILL, OIL, D(200), D("2.00")),
        Portion(QUAY, OIL, D(50), D("0.50")),
    ]
    lots = [("drum", D(120)), ("can", D(200)), ("pail", D(500))]
    assert from_lots(wanted, lots, coin=CENT) == [
        Taken(MILL, "can", D(200), D("2.00")),
        Taken(NORTH, "drum", D(120), D("1.20")),
        Taken(NORTH, "pail", D(180), D("1.81")),
        Taken(QUAY, "pail", D(50), D("0.50")),
    ]


def test_two_lots_that_fit_go_one_each() -> None:
    wanted = [Portion(NORTH, OIL, D(5), D(1)), Portion(MILL, OIL, D(5), D(2))]
    assert from_lots(wanted, [("one", D(5)), ("other", D(5))], coin=CENT) == [
        Taken(NORTH, "one", D(5), D(1)),
        Taken(MILL, "other", D(5), D(2)),
    ]


GRAMS = st.integers(1, 10**6).map(lambda n: D(n).scaleb(-2))
COINS = st.integers(0, 10**5).map(lambda n: D(n).scaleb(-2))
PARTS = st.integers(0, 130).map(lambda n: Fraction(n, 100))


@st.composite
def rounds(
    draw: st.DrawFn,
) -> tuple[list[Due[str]], dict[str, Came], dict[str, Alone]]:
    """Two materials of up to four makers, whose delivery was short, long, cheap or dear."""
    dues: list[Due[str]] = []
    arrived: dict[str, Came] = {}
    for material in draw(st.sampled_from([[OIL], [OIL, WAX]])):
        own = [
            Due(maker, material, draw(GRAMS), draw(COINS), *draw(st.tuples(GRAMS, COINS)))
            for maker in draw(st.permutations("ABCD"))[: draw(st.integers(1, 4))]
        ]
        dues += own
        ordered = sum((one.quantity + one.leftover for one in own), D(0))
        goods = draw(COINS)
        part = draw(PARTS)
        quantity = D(int(ordered * 10**6 * part.numerator // part.denominator)).scaleb(-6)
        paid = Fraction(goods) * (part if draw(st.booleans()) else draw(PARTS))
        charges = Fraction(draw(COINS))
        arrived[material] = Came(
            ordered, goods, quantity, paid if quantity else Fraction(0), charges
        )
    own_cost = {}
    for maker in {one.maker for one in dues}:
        mine = [one for one in dues if one.maker == maker]
        asked = sum((one.amount for one in mine), D(0))
        parts = {str(one.material): one.amount for one in mine}
        saved = draw(COINS)
        own_cost[maker] = Alone(asked + saved, [AloneOrder(saved, dict(parts))])
    return dues, arrived, own_cost


@given(rounds())
@settings(deadline=None)
def test_all_that_came_is_handed_out_and_all_that_was_paid_is_paid(
    made: tuple[list[Due[str]], dict[str, Came], dict[str, Alone]],
) -> None:
    dues, arrived, own = made
    found = portions(dues, dict(arrived), own, coin=CENT)
    for material, one in arrived.items():
        got = [part for part in found.portions if part.material == material]
        assert sum((part.quantity for part in got), D(0)) == min(one.quantity, one.ordered)
        assert all(part.quantity > 0 and part.amount >= 0 for part in got)
        for part in got:
            (due_,) = [d for d in dues if (d.maker, d.material) == (part.maker, material)]
            assert part.quantity < due_.quantity + due_.leftover + D("0.02")
    if found.portions:
        assert sum((part.amount for part in found.portions), D(0)) == found.paid
    exact = sum((one.paid + one.charges for one in arrived.values()), Fraction(0))
    assert abs(Fraction(found.paid) - exact) <= Fraction(CENT) / 2


def limit(
    maker: str, dues: list[Due[str]], arrived: Mapping[str, Came], own: Alone, found: HandedOut[str]
) -> Fraction:
    """What a maker gets, had it bought that alone: told once more, in other words."""
    got = {part.material for part in found.portions if part.maker == maker}
    cost = Fraction(0)
    (order,) = own.orders
    for one in (one for one in dues if one.maker == maker and one.material in got):
        came_ = arrived[str(one.material)]
        pledged = sum((d.quantity for d in dues if d.material == one.material), D(0))
        spare = sum((d.leftover for d in dues if d.material == one.material), D(0))
        part = min(Fraction(1), Fraction(came_.handed_out) / Fraction(pledged))
        more = max(Fraction(0), Fraction(came_.handed_out - pledged) / Fraction(spare))
        goods = Fraction(order.goods[one.material]) * part
        cost += (goods + Fraction(one.leftover_amount) * more) * came_.dearness
    return cost + Fraction(order.freight)


@given(rounds())
@settings(deadline=None)
def test_nobody_pays_more_than_alone_where_that_can_be_kept(
    made: tuple[list[Due[str]], dict[str, Came], dict[str, Alone]],
) -> None:
    dues, arrived, own = made
    found = portions(dues, dict(arrived), own, coin=CENT)
    makers = {part.maker for part in found.portions}
    pays = {m: sum(p.amount for p in found.portions if p.maker == m) for m in makers}
    limits = {m: limit(m, dues, arrived, own[m], found) for m in makers}
    cents = sum(int(one / Fraction(CENT)) for one in limits.values())
    assert found.within_alone == (cents >= found.paid / CENT) or not makers
    if found.within_alone:
        assert all(Fraction(pays[m]) <= limits[m] for m in makers)
