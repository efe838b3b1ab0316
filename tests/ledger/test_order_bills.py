"""What an order plan is asked, in words and in whole numbers, and what chosen packs cost."""

from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction

import pytest

from ledger.errors import Invalid
from ledger.order_bills import PlanLine, SupplierOrder, bill, freight_of, keeps_the_terms, total
from ledger.order_numbers import Agreed, Choice, Question, Tier, in_whole_numbers
from ledger.order_terms import Need, PackOffer, PackPrice, Terms, must_be_sound

CENT = D("0.01")
PAIL = PackOffer(
    "pail", "mill", "clay", D("2.5"), (PackPrice(2, D("1.005")), PackPrice(5, D(1))), D(1030)
)
BAG = PackOffer("bag", "press", "clay", D("0.75"), (PackPrice(1, D("0.40")),), D(750))
TIN = PackOffer("tin", "mill", "wax", D(1), (PackPrice(1, D(7)),), D(1000))


def test_a_pack_has_the_price_of_the_last_break_that_is_reached() -> None:
    assert [PAIL.price_of(packs) for packs in (2, 4, 5, 9)] == [D("1.005"), D("1.005"), 1, 1]
    with pytest.raises(Invalid, match=r"^At least 2 of these packs are sold\.$"):
        PAIL.price_of(1)


def test_what_is_used_before_it_expires() -> None:
    """Twelve months at 100 are 1,200, less the 200 that are used first."""
    keeps = replace(PAIL, shelf_months=D(12))
    need = Need("clay", D(1), D(100), in_store=D(200))
    assert keeps.usable(need) == 1000
    assert keeps.usable(replace(need, sure=D(1500))) == 1500
    assert keeps.usable(replace(need, in_store=D(1300))) == 0
    assert keeps.usable(replace(need, use_per_month=D(0))) == 0
    assert keeps.usable(replace(need, use_per_month=None)) is None
    assert PAIL.usable(need) is None


def test_what_can_be_meant() -> None:
    must_be_sound([], [], [])
    nothing = PackOffer("gift", "mill", "clay", D("0.1"), (PackPrice(1, D(0)),))
    must_be_sound([Need("clay", D(0), D(0)), Need("wax", D(0))], [nothing, TIN], [Terms()])


BELOW = D("-0.5")


@pytest.mark.parametrize(
    ("needs", "sentence"),
    [
        ([Need("clay", BELOW)], "A need and its use are zero or more."),
        ([Need("wax", D(1)), Need("clay", D(1), BELOW)], "A need and its use are zero or more."),
        ([Need("clay", D(1))] * 2, "Each material is needed once: add its needs up."),
    ],
)
def test_needs_that_cannot_be_meant(needs: list[Need], sentence: str) -> None:
    with pytest.raises(Invalid) as refused:
        must_be_sound(needs, [], [])
    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("offers", "sentence"),
    [
        ([TIN, TIN], "Each offer stands once in a plan."),
        *(
            (
                [replace(TIN, prices=tuple(PackPrice(first, D(1)) for first in firsts))],
                "An offer has a price, and its breaks rise from one pack or more.",
            )
            for firsts in ([], [0], [0, 2], [2, 2], [3, 2])
        ),
        *(
            (
                [PAIL, replace(TIN, **wrong)],
                "A pack holds something, and its mass and price are zero or more.",
            )
            for wrong in (
                {"size": D(0)},
                {"size": BELOW},
                {"mass_g": BELOW},
                {"prices": (PackPrice(1, D(1)), PackPrice(2, BELOW))},
            )
        ),
    ],
)
def test_offers_that_cannot_be_meant(offers: list[PackOffer], sentence: str) -> None:
    with pytest.raises(Invalid) as refused:
        must_be_sound([], offers, [])
    assert str(refused.value) == sentence


@pytest.mark.parametrize("amount", ["minimum", "flat", "per_kg", "free_from"])
def test_terms_that_cannot_be_meant(amount: str) -> None:
    must_be_sound([], [], [replace(Terms(), **{amount: D(0)})])
    with pytest.raises(Invalid, match=r"^Least amounts and freight are zero or more\.$"):
        must_be_sound([], [], [Terms(), replace(Terms(), **{amount: BELOW})])


def test_freight_is_rounded_once_halves_up() -> None:
    """1,230 g at 1.50 a kilogram are 1.845: 1.85, and with 5.00 for the order 6.85."""
    terms = Terms(flat=D(5), per_kg=D("1.5"), free_from=D(50))
    assert freight_of(D("49.99"), D(1230), terms, CENT) == D("6.85")
    assert freight_of(D(50), D(1230), terms, CENT) == 0
    assert freight_of(D(50), D(1230), replace(terms, free_from=None), CENT) == D("6.85")
    # In steps of five cents 1.845 is 1.85, and 1.82 is 1.80.
    assert freight_of(D(1), D(1230), terms, D("0.05")) == D("6.85")
    assert freight_of(D(1), D(1214), terms, D("0.05")) == D("6.80")


def test_a_bill_is_of_each_supplier() -> None:
    """6 pails at 1.00 and 2 tins at 7.00 are 20.00, their 8.18 kg at 5.00 are 40.90."""
    terms = {"mill": Terms(per_kg=D(5)), "press": Terms(flat=D(3))}
    orders = bill({PAIL: 6, BAG: 4, TIN: 2}, terms, CENT)
    pails, tins, bags = PlanLine(PAIL, 6, D(1)), PlanLine(TIN, 2, D(7)), PlanLine(BAG, 4, D("0.40"))
    assert orders == (
        SupplierOrder("mill", (pails, tins), goods=D(20), freight=D("40.90")),
        SupplierOrder("press", (bags,), goods=D("1.60"), freight=D(3)),
    )
    assert pails.quantity == 15
    assert pails.amount == 6
    assert [order.cost for order in orders] == [D("60.90"), D("4.60")]
    assert total(orders) == D("65.50")
    assert bill({PAIL: 0}, terms, CENT) == ()
    assert total(()) == 0
    with pytest.raises(Invalid):
        bill({PAIL: 1}, terms, CENT)


FREE = {"mill": Terms(), "press": Terms()}


def test_packs_cover_every_need() -> None:
    """Two pails and a bag hold 5.75."""
    packs = {PAIL: 2, BAG: 1, TIN: 0}
    assert keeps_the_terms(packs, [Need("clay", D("5.75"))], FREE)
    assert not keeps_the_terms(packs, [Need("clay", D("5.751"))], FREE)
    assert keeps_the_terms(packs, [Need("clay", D(1)), Need("wax", D(0))], FREE)
    assert not keeps_the_terms(packs, [Need("clay", D(1)), Need("wax", D(1))], FREE)


def test_packs_reach_every_least_amount() -> None:
    """Two pails are the fewest that are sold, for 2.01; with a tin 9.01."""
    need = [Need("clay", D(1))]
    assert not keeps_the_terms({PAIL: 1}, need, FREE)
    assert keeps_the_terms({PAIL: 2}, need, FREE | {"mill": Terms(minimum=D("2.01"))})
    assert not keeps_the_terms({PAIL: 2}, need, FREE | {"mill": Terms(minimum=D("2.02"))})
    assert keeps_the_terms({PAIL: 2, TIN: 1}, need, FREE | {"mill": Terms(minimum=D("9.01"))})
    # Nothing is ordered of whom nothing is bought.
    assert keeps_the_terms({BAG: 2, PAIL: 0}, need, FREE | {"mill": Terms(minimum=D(5))})


def test_packs_expire_only_where_they_are_not_used_in_time() -> None:
    """One a month: bags keep for three months, pails for eight. 3 bags hold 2.25, 2 pails 5."""
    bag, pail = replace(BAG, shelf_months=D(3)), replace(PAIL, shelf_months=D(8))
    need = [Need("clay", D(1), D(1))]
    assert keeps_the_terms({bag: 4}, need, FREE)
    assert not keeps_the_terms({bag: 5}, need, FREE)
    assert keeps_the_terms({bag: 4, pail: 2}, need, FREE)
    assert not keeps_the_terms({bag: 4, replace(pail, size=D("2.501")): 2}, need, FREE)
    # What keeps for long is not in the way of what must be used first.
    assert keeps_the_terms({bag: 4, PAIL: 9}, need, FREE)
    assert keeps_the_terms({pail: 3}, [Need("clay", D(1))], FREE)


def test_a_question_in_whole_numbers() -> None:
    """2.5 and 0.75 are 10 and 3 of 0.25; prices of half cents make 200 steps of a unit.

    7.1 of clay are 28.4 measures: 29; of 5.1 that are used in time 20.4: 20. A pail of 1,030 g at
    1.50 a kilogram is 1.545, 309 steps. Of salt, which nobody offers, the measure is one.
    """
    terms = {
        "mill": Terms(minimum=D(10), flat=D(5), per_kg=D("1.5"), free_from=D("20.25")),
        "press": Terms(),
    }
    keeps = replace(PAIL, shelf_months=D("5.1"))
    needs = [Need("wax", D("3.2")), Need("clay", D("7.1"), D(1)), Need("salt", D("1.5"))]
    assert in_whole_numbers(needs, [BAG, keeps, TIN], terms, CENT) == Question(
        needs=(4, 29, 2),
        choices=(
            Choice(1, 0, 3, (Tier(1, None, 80),)),
            Choice(1, 1, 10, (Tier(2, 4, 201), Tier(5, None, 200)), Fraction(309), usable=20),
            Choice(0, 1, 1, (Tier(1, None, 1400),), Fraction(300)),
        ),
        agreed=(Agreed(0, 0, False, None), Agreed(2000, 1000, True, 4050)),
        steps=200,
        steps_a_coin=2,
    )


@pytest.mark.parametrize("amount", ["minimum", "flat", "free_from"])
def test_every_amount_is_whole_in_steps(amount: str) -> None:
    asked = {"mill": replace(Terms(), **{amount: D("0.0625")})}
    question = in_whole_numbers([Need("wax", D(1))], [TIN], asked, CENT)
    assert (question.steps, question.steps_a_coin) == (400, 4)
    assert getattr(question.agreed[0], amount) == 25
    coins = in_whole_numbers([Need("wax", D(1))], [TIN], {"mill": Terms()}, D("0.05"))
    assert (coins.steps, coins.steps_a_coin, coins.choices[0].tiers[0].price) == (20, 1, 140)


def test_no_digit_is_lost_in_whole_numbers() -> None:
    """The dearest price with all of its decimals; packs of 6 and 4 are three and two of 2; and half
    a unit of money a kilogram is freight by mass."""
    dear = replace(TIN, size=D(6), prices=(PackPrice(1, D("999999999999.999999")),))
    can = replace(TIN, key="can", size=D(4))
    question = in_whole_numbers(
        [Need("wax", D(7))], [dear, can], {"mill": Terms(per_kg=D("0.5"))}, CENT
    )
    assert question.needs == (4,)
    assert question.agreed[0].by_mass
    assert [choice.size for choice in question.choices] == [3, 2]
    prices = [choice.tiers[0].price for choice in question.choices]
    assert (question.steps, prices) == (10**6, [10**18 - 1, 7 * 10**6])


def test_packs_cost_what_their_tier_says() -> None:
    choice = Choice(0, 0, 1, (Tier(1, 4, 3), Tier(5, None, 2)))
    assert [choice.price(packs) for packs in (1, 4, 5, 6)] == [3, 12, 10, 12]


def test_the_amount_that_is_worth_reaching() -> None:
    assert Agreed(30, 0, False, None).worth_reaching == 30
    assert Agreed(30, 0, False, 50).worth_reaching == 50
    assert Agreed(0, 0, False, None).worth_reaching == 0
