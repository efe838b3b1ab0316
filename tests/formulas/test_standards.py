"""Standard costs: from given prices or today's, kept by version and day, never judged anew."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pytest
from django.db import Error

from formulas.alternates import AlternateDraft
from formulas.composing import write_formula
from formulas.composition import Balance, Fixed
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.errors import CostUnknown, StandardKept
from formulas.models import FormulaVersion, StandardCost, StandardPrice
from formulas.standards import (
    GivenPrice,
    Policy,
    set_formula_standard,
    set_product_standard,
    standards_of,
)
from ledger.access import acting_as
from ledger.errors import Forbidden, Invalid, NotFound
from ledger.models import Material
from tests.factories import D, Workshop

MAY = date(2025, 5, 1)


def prices_of(standard: StandardCost) -> dict[str, tuple[Any, Any, str]]:
    """Share, price and where it came from, by the material's name."""
    return {
        one.material.name: (one.share, one.price, one.basis)
        for one in sorted(standard.prices.all(), key=lambda one: one.position)
    }


@dataclass(frozen=True)
class Lotion:
    """A formula of an oil, water and a gel, which is an intermediate."""

    version: FormulaVersion
    oil: Material
    gel: FormulaVersion

    @property
    def facts(self) -> dict[str, Any]:
        return {"formula": self.version.formula_id, "valid_from": MAY}


def lotion(shop: Workshop, loss: str = "4") -> Lotion:
    """Oil from two lots at 13.00 a kilogram on average, water at 0.02, a gel of its own."""
    oil, powder = shop.material("Oil"), shop.material("Powder")
    water = shop.water(cost_per_kg=D("0.02"), cost_source="meter")
    shop.receive(oil, "1 kg", "10.00")
    shop.receive(oil, "3 kg", "42.00")
    shop.receive(powder, "1 kg", "50.00")
    gel = shop.formula("Gel", [(powder, "10"), (water, "90")], loss="10")
    version = shop.formula("Lotion", [(oil, "20"), (gel, "15"), (water, "65")], loss=loss)
    return Lotion(version, oil, gel)


def test_a_standard_at_todays_costs(shop: Workshop) -> None:
    """Gel: (10 % · 50.00 + 90 % · 0.02) ÷ 0.9 = 5.575556 a kilogram."""
    kept = shop.does(set_formula_standard, **lotion(shop).facts)
    assert prices_of(kept) == {
        "Oil": (20, 13, "store"),
        "Gel": (15, D("5.575556"), "rolled_up"),
        "Aqua": (65, D("0.02"), "stated"),
    }
    assert (kept.version.number, kept.valid_from) == (1, MAY)


def test_given_prices_stand_before_todays(shop: Workshop) -> None:
    made = lotion(shop)
    facts, oil, gel = made.facts, made.oil, made.gel.formula.material_id
    given = [GivenPrice(oil.id, D("12.50")), GivenPrice(str(gel).upper(), D(6))]
    kept = shop.does(set_formula_standard, prices=given, **facts)
    assert prices_of(kept)["Oil"] == (20, D("12.5"), "given")
    assert prices_of(kept)["Gel"] == (15, 6, "given")
    with pytest.raises(Invalid, match="twice"):
        shop.does(set_formula_standard, prices=[given[0], given[0]], **facts)
    for wrong in (shop.material("Wax").id, "nowhere"):
        with pytest.raises(NotFound) as refused:
            shop.does(set_formula_standard, prices=[GivenPrice(wrong, D(1))], **facts)
        assert refused.value.pointer == "/prices/0/material"
    for price in ("-1", "NaN", "1000000001"):
        with pytest.raises(Invalid) as refused_price:
            shop.does(set_formula_standard, prices=[GivenPrice(oil.id, D(price))], **facts)
        assert refused_price.value.pointer == "/prices/0/price"


def test_a_cost_that_nobody_knows_is_named(shop: Workshop) -> None:
    wax = shop.material("Wax")
    inner = shop.formula("Base", [(wax, "100")])
    version = shop.formula("Balm", [(inner, "100")])
    facts = {"formula": version.formula_id, "valid_from": MAY}
    with pytest.raises(CostUnknown, match="Wax"):
        shop.does(set_formula_standard, **facts)
    given = [GivenPrice(inner.formula.material_id, D(3))]
    assert prices_of(shop.does(set_formula_standard, prices=given, **facts)) == {
        "Base": (100, 3, "given")
    }


def test_alternates_are_priced_where_their_cost_is_known(shop: Workshop) -> None:
    """A line of one material twice is one price; what may stand in has no share."""
    own, known, unknown = (shop.material(name) for name in ("Own", "Known", "Unknown"))
    shop.receive(own, "1 kg", "5.00")
    shop.receive(known, "1 kg", "7.00")
    lines = [
        LineDraft(
            Fixed(D(40)),
            material=own.id,
            alternates=[AlternateDraft(known.id), AlternateDraft(unknown.id)],
        ),
        LineDraft(Balance(), material=own.id),
    ]
    version = shop.does(write_formula, Draft("Mixed", [PhaseDraft("A", lines)]))
    kept = shop.does(set_formula_standard, formula=version.formula_id, valid_from=MAY)
    assert prices_of(kept) == {"Own": (100, 5, "store"), "Known": (0, 7, "store")}


def test_a_products_standard_takes_its_policy_or_another(shop: Workshop) -> None:
    version = lotion(shop).version
    jar = shop.material("Jar", measured_by="count")
    shop.receive(jar, "10 each", "4.00")
    policy = {"minutes_per_batch": D(60), "hourly_rate": D(24), "overhead_percent": D(10)}
    product = shop.product(version, "50 g", [(jar, "2 each")], **policy)
    kept = shop.does(
        set_product_standard,
        product=product.id,
        valid_from=MAY,
        policy=Policy(hourly_rate=D(21), overhead_per_batch=D(0)),
    )
    assert prices_of(kept) == {"Jar": (2, D("0.4"), "store")}
    assert (kept.minutes_per_batch, kept.hourly_rate, kept.overhead_percent) == (60, 21, 10)
    with pytest.raises(Invalid) as refused:
        shop.does(
            set_product_standard,
            product=product.id,
            valid_from=MAY,
            policy=Policy(minutes_per_unit=D(-1)),
        )
    assert refused.value.pointer == "/labour/minutes_per_unit"


def test_a_standard_is_of_a_version_and_of_a_plausible_day(shop: Workshop) -> None:
    made = lotion(shop)
    facts, version = made.facts, made.version
    wax = shop.material("Wax")
    shop.receive(wax, "1 kg", "9.00")
    shop.next_version(version, [(wax, "100")], expected=1)
    assert prices_of(shop.does(set_formula_standard, **facts)) == {"Wax": (100, 9, "store")}
    assert len(prices_of(shop.does(set_formula_standard, version=1, **facts))) == 3
    with pytest.raises(NotFound) as refused:
        shop.does(set_formula_standard, version=3, **facts)
    assert refused.value.pointer == "/version"
    for day in (date(1899, 12, 31), date(2200, 1, 1)):
        with pytest.raises(Invalid, match="out of range"):
            shop.does(set_formula_standard, formula=version.formula_id, valid_from=day)
    with acting_as(shop.actor):
        assert standards_of(shop.actor).count() == 2


def test_what_was_judged_stays_judged(shop: Workshop) -> None:
    """A batch of 6 May has the standard of 1 May; no new one may begin in between."""
    made = lotion(shop, loss="0")
    facts = {"formula": made.version.formula_id}
    shop.made_lot(made.gel, "100")
    planned = shop.plan(made.version, "500 g")
    shop.weigh_all(planned)
    shop.finish(planned, "500 g")
    first = shop.does(set_formula_standard, valid_from=MAY, **facts)
    for day in (MAY, date(2025, 5, 6)):
        with pytest.raises(StandardKept) as refused:
            shop.does(set_formula_standard, valid_from=day, **facts)
        assert refused.value.pointer == "/valid_from"
        assert refused.value.facts == {"batch": planned.batch.code, "day": date(2025, 5, 6)}
    later = shop.does(set_formula_standard, valid_from=date(2025, 5, 7), **facts)
    earlier = shop.does(set_formula_standard, valid_from=date(2025, 4, 1), **facts)
    again = shop.does(set_formula_standard, valid_from=date(2025, 5, 7), **facts)
    assert len({first.id, later.id, earlier.id, again.id}) == 4


def test_rows_are_only_added_and_whole(shop: Workshop) -> None:
    made = lotion(shop)
    version, kept = made.version, shop.does(set_formula_standard, **made.facts)
    with pytest.raises(Error, match="permission denied"), acting_as(shop.actor):
        StandardPrice.objects.filter(standard=kept).update(price=0)
    bare = {"coop_id": kept.coop_id, "maker_id": kept.maker_id, "person_id": kept.person_id}
    with pytest.raises(Error, match="not 100"), acting_as(shop.actor):
        StandardCost.objects.create(version=version, valid_from=MAY, **bare)
    with pytest.raises(Error, match="standard_of_version"), acting_as(shop.actor):
        StandardCost.objects.create(valid_from=MAY, **bare)


def test_who_sets_and_who_sees(shop: Workshop) -> None:
    facts = lotion(shop).facts
    bench = replace(shop.actor, role="bench")
    with acting_as(bench), pytest.raises(Forbidden):
        set_formula_standard(bench, **facts)
    with acting_as(bench), pytest.raises(Forbidden):
        standards_of(bench)
