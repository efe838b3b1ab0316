"""What stands beside a plan, worked by hand: line by line, and what a little more would cost."""

from dataclasses import replace
from decimal import Decimal as D

from ledger.order_advice import LineAdvice, Step, advice
from ledger.order_bills import bill, total
from ledger.order_plan import CENT, OrderPlan
from ledger.order_terms import Need, PackOffer, PackPrice, Terms
from tests.ledger.order_cases import line_by_line

SACK = PackOffer(
    "sack", "mill", "clay", D(10), (PackPrice(1, D(8)), PackPrice(4, D(6))), mass_g=D(10_000)
)
TIN = PackOffer("tin", "mill", "wax", D(1), (PackPrice(1, D(7)),), mass_g=D(1000))
DRUM = PackOffer("drum", "press", "clay", D(50), (PackPrice(1, D(35)),), mass_g=D(50_000))


def plan_of(packs: dict[PackOffer, int], terms: dict[str, Terms]) -> OrderPlan:
    orders = bill(packs, terms, CENT)
    cost = total(orders)
    return OrderPlan(orders, cost, bound=cost, proven=True, seconds=D(0))


def step(packs: int, quantity: int, cost: str, more: int, extra: str) -> Step:
    """A step of something whose use is not known."""
    return Step(packs, D(quantity), D(cost), D(more), D(extra), D(0), None, None)


def test_each_material_where_its_packs_cost_least() -> None:
    """35 of clay are four sacks for 24.00 or a drum for 35.00; 55 are six for 36.00 or two for
    70.00; where a sack costs 9.00 whatever they are, one drum for 45 is the cheaper."""
    free = {"mill": Terms(), "press": Terms()}
    offers = [DRUM, SACK, TIN]
    assert line_by_line([Need("clay", D(35))], offers, free) == 24
    assert line_by_line([Need("clay", D(55))], offers, free) == 36
    dear = replace(SACK, prices=(PackPrice(1, D(9)),))
    assert line_by_line([Need("clay", D(45))], [dear, DRUM], free) == 35
    assert line_by_line([Need("clay", D(10))], [dear, DRUM], free) == 9
    # As few as are sold; and neither what is not needed nor what nobody offers.
    least = replace(SACK, prices=(PackPrice(3, D(8)),))
    needs = [Need("salt", D(5)), Need("wax", D(0)), Need("clay", D(1))]
    assert line_by_line(needs, [TIN, least], free) == 24
    assert line_by_line([Need("wax", D("0.5"))], offers, free) == 7


def test_an_order_below_its_least_amount_is_paid_at_that() -> None:
    """Four sacks for 24.00 and two tins for 14.00 are 38.00 at the mill, of 42 kilograms."""
    needs = [Need("clay", D(35)), Need("wax", D(2))]
    offers = [SACK, TIN]

    def paid(**terms: D) -> D:
        return line_by_line(needs, offers, {"mill": Terms(**terms)})

    assert paid() == 38
    assert paid(minimum=D(50)) == 50
    assert paid(flat=D(9), free_from=D(39)) == 47
    assert paid(flat=D(9), free_from=D(39), minimum=D(39)) == 39
    assert paid(per_kg=D("0.015")) == D("38.63")
    assert paid(per_kg=D(15)) == 668
    # Two orders are paid one beside the other; a coin of 5 cents.
    apart = [SACK, replace(TIN, supplier="press")]
    terms = {"mill": Terms(per_kg=D("0.0155")), "press": Terms(flat=D(3))}
    assert line_by_line(needs, apart, terms) == D("41.62")
    assert line_by_line(needs, apart, terms, coin=D("0.05")) == D("41.60")


def test_the_steps_of_a_line() -> None:
    """25 are three sacks for 24.00, as four are. Two tins beside them are 14.00; 6.00 of freight.

    Freight is free from 51.00: 37.00 of sacks, which are seven, since five have the lower price.
    """
    terms = {"mill": Terms(flat=D(6), free_from=D(51))}
    needs = [Need("wax", D(2)), Need("clay", D(25))]
    plan = plan_of({SACK: 3, TIN: 2}, terms)
    clay, wax = advice(plan, needs, terms)
    assert clay == LineAdvice(
        SACK,
        3,
        (
            step(3, 30, "44", 0, "0"),
            step(4, 40, "44", 10, "0"),
            step(7, 70, "56", 40, "12"),
        ),
        None,
    )
    # Two tins, or four for 28.00 with 24.00 of sacks.
    assert [(one.packs, one.cost, one.extra) for one in wax.steps] == [
        (2, D(44), D(0)),
        (4, D(52), D(8)),
    ]
    assert (wax.offer, wax.planned, wax.best) == (TIN, 2, None)


def test_freight_by_mass_is_rounded_to_the_coin() -> None:
    """Three sacks are 30 kg at 0.013: 0.39, or 0.40 in steps of five cents."""
    terms = {"mill": Terms(per_kg=D("0.013"))}
    plan = plan_of({SACK: 3}, terms)
    needs = [Need("clay", D(25))]
    [told] = advice(plan, needs, terms)
    assert [one.cost for one in told.steps] == [D("24.39"), D("24.52")]
    [told] = advice(plan, needs, terms, coin=D("0.05"))
    assert [one.cost for one in told.steps] == [D("24.40"), D("24.50")]


def test_steps_below_the_least_amount_are_left_out() -> None:
    """Of 11 only two sacks for 16.00 are needed; 24.00 must be ordered, three or four.

    With 8.00 of freight two would cost that, but their goods do not.
    """
    terms = {"mill": Terms(minimum=D(24), flat=D(8))}
    [told] = advice(plan_of({SACK: 4}, terms), [Need("clay", D(11))], terms)
    assert told.steps == (step(4, 40, "32", 0, "0"),)
    [told] = advice(plan_of({SACK: 3}, terms), [Need("clay", D(11))], terms)
    assert told.steps == (step(3, 30, "32", 0, "0"), step(4, 40, "32", 10, "0"))


def test_what_other_offers_hold_is_not_missing() -> None:
    """75 of clay: a drum and three sacks; of 25 three sacks are the fewest."""
    terms = {"mill": Terms(), "press": Terms()}
    drum, sack = advice(plan_of({DRUM: 1, SACK: 3}, terms), [Need("clay", D(75))], terms)
    assert [one.packs for one in drum.steps] == [1]
    assert [one.packs for one in sack.steps] == [3, 4]
    assert sack.steps[0].more == 0


def test_the_cheapest_to_use_is_told() -> None:
    """10 a month, for three months: 30 are used in time, of three sacks for 24.00 all at 0.80,
    of four for 24.00 thirty at 0.80 as well, and ten expire. At 5 months 50 are used: four are 0.60
    each. With twenty in store there is time for 30.
    """
    terms = {"mill": Terms(flat=D(2)), "press": Terms()}
    free = {"mill": Terms(), "press": Terms()}

    def told(
        months: int, in_store: int = 0, beside: dict[PackOffer, int] | None = None
    ) -> LineAdvice:
        sack = replace(SACK, shelf_months=D(months))
        need = Need("clay", D(25), D(10), in_store=D(in_store))
        plan = plan_of({sack: 3, **(beside or {})}, free)
        return advice(plan, [need, Need("wax", D(1))], free)[0]

    short = told(3)
    assert [(one.packs, one.expiring, one.per_usable, one.months) for one in short.steps] == [
        (3, D(0), D("0.8"), D(3)),
        (4, D(10), D("0.8"), D(4)),
    ]
    assert short.best is None
    long = told(5)
    assert [one.per_usable for one in long.steps] == [D("0.8"), D("0.6")]
    assert long.best == long.steps[1]
    assert long.as_planned == long.steps[0]
    assert told(5, in_store=20).steps == short.steps
    assert told(5, in_store=50).steps[0].per_usable is None
    assert told(5, in_store=50).best is None
    # What stands beside it is not its own cost; its freight is.
    assert told(5, beside={TIN: 1}).steps[0].per_usable == D("0.8")
    assert [one.cost for one in told(5, beside={TIN: 1}).steps] == [31, 31]
    sack = replace(SACK, shelf_months=D(5))
    [alone] = advice(plan_of({sack: 4}, terms), [Need("clay", D(25), D(10))], terms)
    assert [one.per_usable for one in alone.steps] == [D(26) / 30, D("0.65")]
    assert alone.best is None


def test_of_steps_as_cheap_the_smallest_is_told() -> None:
    """A break that lowers nothing: three sacks or four, each gram 0.80."""
    sack = replace(SACK, prices=(PackPrice(1, D(8)), PackPrice(4, D(8))), shelf_months=D(9))
    needs, terms = [Need("clay", D(25), D(10))], {"mill": Terms()}
    [told] = advice(plan_of({sack: 4}, terms), needs, terms)
    assert [one.per_usable for one in told.steps] == [D("0.8"), D("0.8")]
    assert told.best == told.steps[0]
    [told] = advice(plan_of({sack: 3}, terms), needs, terms)
    assert told.best is None


def test_what_expires_before_is_used_before() -> None:
    """10 a month. A drum that keeps for two months takes 20 of the 50 that sacks have time for."""
    terms = {"mill": Terms(), "press": Terms()}
    small = replace(DRUM, size=D(20), shelf_months=D(2))
    sack = replace(SACK, shelf_months=D(5))
    needs = [Need("clay", D(45), D(10)), Need("wax", D(1), D(10))]
    own, first = advice(plan_of({sack: 3, small: 1}, terms), needs, terms)
    assert [(one.packs, one.expiring) for one in own.steps] == [(3, D(0)), (4, D(10))]
    assert [(one.packs, one.expiring) for one in first.steps] == [(1, D(0))]
    # What keeps as long counts as used before; what keeps longer does not, nor another material.
    for beside, expiring in (
        (replace(small, shelf_months=D(5)), [0, 10]),
        (replace(small, shelf_months=D(6)), [0, 0]),
        (replace(small, shelf_months=None), [0, 0]),
    ):
        lines = advice(plan_of({sack: 3, beside: 1}, terms), needs, terms)
        told = {one.packs: one.expiring for one in lines[0].steps}
        assert [told[3], told[4]] == expiring
    other = plan_of({sack: 5, replace(TIN, shelf_months=D(1)): 1}, terms)
    assert advice(other, needs, terms)[0].steps[0].expiring == 0
    # Nothing is left in time of what comes last.
    [_, last] = advice(
        plan_of({replace(small, size=D(60), shelf_months=D(5)): 1, sack: 1}, terms), needs, terms
    )
    assert last.steps[0].expiring == last.steps[0].quantity


def test_a_price_of_nothing_reaches_no_amount() -> None:
    """A gift cannot make freight free; the price above it can, from its break on."""
    gift = replace(SACK, prices=(PackPrice(1, D(0)), PackPrice(3, D(5))))
    terms = {"mill": Terms(flat=D(6), free_from=D(20))}
    [told] = advice(plan_of({gift: 1}, terms), [Need("clay", D(1))], terms)
    assert [(one.packs, one.cost) for one in told.steps] == [
        (1, D(6)),
        (3, D(21)),
        (4, D(20)),
    ]
    cheap = replace(SACK, prices=(PackPrice(1, D("0.10")),))
    terms = {"mill": Terms(flat=D(6), free_from=D("0.50"))}
    [told] = advice(plan_of({cheap: 1}, terms), [Need("clay", D(1))], terms)
    assert [(one.packs, one.cost) for one in told.steps] == [(1, D("6.10")), (5, D("0.50"))]
    # Where freight never is free, no number of packs makes it so.
    [told] = advice(plan_of({cheap: 1}, terms), [Need("clay", D(1))], {"mill": Terms(flat=D(6))})
    assert [(one.packs, one.cost) for one in told.steps] == [(1, D("6.10"))]
