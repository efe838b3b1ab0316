"""A fill whose pieces and bulk do not agree is asked about once, and can be taken back."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from formulas.composing import write_formula
from formulas.errors import BulkTooOld
from formulas.filling import fill
from formulas.leftovers import reconcile
from formulas.models import Filling
from formulas.standards import GivenPrice, set_formula_standard, set_product_standard
from formulas.unit_costs import unit_cost_of
from ledger.access import acting_as
from ledger.entries import explained
from ledger.ids import new_id
from ledger.models import Holding
from tests.factories import MORNING, TODAY, D, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def test_a_fill_is_asked_about_and_taken_back(database: Any, redis_server: Any) -> None:
    shop = open_workshop()
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "50.00")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "100 g")
    planned = shop.plan(version, "5 kg")
    shop.weigh_all(planned)
    shop.finish(planned, "5 kg")
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/fill"
    typed = {"product": str(product.id), "units": "39", "basis": "seen"}
    typed |= {"deviation": "filled at once"}
    asked = refused(client, path, used="1 g", **typed)
    assert "should hold 3,900\N{NO-BREAK SPACE}g, and 1\N{NO-BREAK SPACE}g of bulk" in asked
    assert "of bulk went in" in refused(client, path, used="4.5 kg", **typed)
    with acting_as(shop.actor):
        assert not Filling.objects.exists()
    assert "Not explained 600 g" in done(client, path, used="4.5 kg", sure="on", **typed)
    with acting_as(shop.actor):
        made = Filling.objects.select_related("lot", "bulk_lot").get()
    for lot, other in ((made.bulk_lot, made.lot), (made.lot, made.bulk_lot)):
        assert f"filled : {other.code}" in shown(client.get(f"/lots/{lot.id}"))
    here = f"/fills/{made.id}"
    against = f"{here}/standard"
    assert "Balm, version 1 has no standard cost" in shown(client.get(against))
    price = GivenPrice(oil.id, D("4.00"))
    about = {"formula": version.formula_id, "valid_from": TODAY, "prices": [price]}
    shop.does(set_formula_standard, **about)
    shop.does(set_product_standard, product=product.id, valid_from=TODAY)
    assert "Against its standard" in shown(client.get(here))
    # 4.5 kg at 5.00 are 22.50; the 3.9 kg of 39 pieces are 15.60 at 4.00, the 4.5 kg 18.00.
    told = shown(client.get(against))
    assert "Balm 4.50 USD 2.40 USD 6.90 USD 22.50 USD 15.60 USD" in told.replace("\xa0", " ")
    assert "6.9" in client.get(f"{against}?as=csv").content.decode()
    assert "Fill this in" in refused(client, here, do="undo")
    assert "This fill was taken back" in done(client, here, do="undo", reason="typed wrong")
    assert "Take this fill back" not in shown(client.get(here))
    done(client, path, samples="1", **typed)
    with acting_as(shop.actor):
        (kept,) = Holding.objects.filter(kind="issue", quantity__gt=0)
        assert (kept.account.name, kept.quantity) == ("retained", 1)


@pytest.mark.parametrize(("percent", "each"), [("10", "0.55"), ("0", "0.50")])
def test_pieces_filled_from_bulk_carry_no_overhead_and_say_so(
    database: Any, redis_server: Any, percent: str, each: str
) -> None:
    """By hand: 100 g at 5.00 a kilogram are 0.50, and with a tenth of that as overhead 0.55 in a
    batch that is made for the product; ten pieces from bulk are 5.00 in either case."""
    shop = open_workshop()
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "50.00")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "100 g", overhead_percent=D(percent))
    bulk, client = shop.made_lot(version, "5000"), signed_in(shop)
    made = shop.does(fill, product=product.id, lot=bulk.id, units=10, happened_at=MORNING)
    assert made.total == D("5.00")
    assert shop.does(unit_cost_of, product=product.id).cost.per_unit == D(each)
    priced = shown(client.get(f"/products/{product.id}/price"))
    filled = shown(client.get(f"/fills/{made.filling.id}"))
    says = percent != "0"
    assert ("carry none of it" in filled) is says
    assert ("carry no overhead and no work by the batch" in priced) is says


def test_bulk_is_filled_by_weight_in_time_and_with_a_label(
    database: Any, redis_server: Any
) -> None:
    """250 mL at 1.02 g/mL and 2 % above are 260.1 g, however warm it is filled: a label's volume is
    judged at 20 degC. At 0.98 g/mL those take 265.41 mL.
    """
    shop = open_workshop()
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "50.00")
    draft = shop.draft("Wash", [(oil, "100")], density="1.02 g/mL")
    version = shop.does(write_formula, replace(draft, fill_within_days=3))
    product = shop.product(version, "250 mL", overfill_percent=D(2))
    planned = shop.plan(version, "5 kg")
    shop.weigh_all(planned)
    shop.finish(planned, "5 kg")
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/fill"
    page = plain(shown(client.get(path)))
    assert "260.1 g is to be in a piece, at 1.02 g/mL" in page
    # Made on 6 May 2025.
    assert "To be filled by 9 May 2025" in page
    typed = {"product": str(product.id), "density": "0.98 g/mL", "celsius": "65"}

    def looked(**other: str) -> str:
        asked = {**typed, **other, "do": "look"}
        return plain(shown(client.post(path, asked, headers={"HX-Request": "true"})))

    look = looked()
    assert "260.1 g is to be in a piece, at 1.02 g/mL" in look
    assert "does not go by 0.98 g/mL, which holds at 65 °C" in look
    assert look.count("beware of burns") == 1
    at_20 = looked(density="1.01 g/mL", celsius="20")
    assert "257.55 g is to be in a piece, at 1.01 g/mL and 20 °C" in at_20
    assert "burns" not in at_20
    assert "does not go by" not in at_20
    assert "260.1 g is to be in a piece" in looked(celsius="")
    unsaid = refused(client, path, **{**typed, "celsius": ""}, units="10")
    assert "Say how warm the bulk is" in unsaid
    typed |= {"units": "10", "label_version": "third, May", "basis": "seen"}
    assert "to be filled by 9 May 2025" in plain(refused(client, path, **typed))
    page = plain(done(client, path, **typed, deviation="looked at and measured again"))
    assert "third, May" in page
    assert "0.98 g/mL, 65 °C" in page
    assert "the bulk was filled late" in shown(client.get("/deviations?kind=bulk_age"))
    with acting_as(shop.actor):
        kept = Filling.objects.get()
        assert (kept.used_grams, kept.density) == (D(2601), D("0.98"))
        kept.id, kept.deviation = new_id(), ""
        with pytest.raises(BulkTooOld), explained():
            kept.save(force_insert=True)


def test_weights_are_judged_by_a_rule_that_is_chosen_afterwards(
    database: Any, redis_server: Any
) -> None:
    """What is kept of them is enough. Of 250 g the directive lets few lack 9 g and none 18 g."""
    shop = open_workshop()
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "50.00")
    product = shop.product(shop.formula("Oil", [(oil, "100")]), "250 g")
    planned = shop.plan(product, 18)
    shop.weigh_all(planned)
    shop.finish(planned, "4.5 kg", units=18)
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/units"
    weights = ["250.5"] * 11
    slip = "\n".join([*weights, "2581"])
    asked = plain(refused(client, path, do="weigh", weighings=slip))
    assert "A piece should hold 250 g, and this is far from it: 2,581 g." in asked
    assert "What the weights say" not in shown(client.get(path))
    page = plain(done(client, path, do="weigh", weighings=slip, sure="on"))
    assert "2,581 g" in page
    page = done(client, path, do="weigh", weighings="\n".join([*weights, "240"]))
    assert "No rule is chosen yet" in page
    page = plain(done(client, path, do="rule", rule="eu"))
    assert "No rule is chosen yet" not in page
    assert "judged by it now" in page
    assert "By these pieces the lot does not keep the rule" in page
    few = "Below the limit that few may be below: 1 of 12 weighed. In the whole lot of 18 at most 0"
    assert few in page
    assert "Few may be below 1 is 241 g" in page
    page = plain(done(client, path, do="rule", rule="eu", allowed="12 g"))
    assert "Few may be below 0 are 238 g" in page, "none was chosen before, so the latest counts"
    done(client, path, do="weigh", weighings="\n".join([*weights, "240"]))
    page = done(client, path, do="rule", rule="eu")
    assert "The rule was changed since these pieces were weighed" in page


@pytest.mark.parametrize(
    ("bulk", "doubtful"),
    [("1000", False), ("1111.11", False), ("1112", True), ("999.99", False), ("999.98", True)],
)
def test_ten_pieces_of_100_g_and_their_bulk(bulk: str, doubtful: bool) -> None:
    """A tenth of 1111.11 is 111.111, and 111.11 is not more."""
    whole = {"units": 10, "sample_units": 1, "each": D(100), "heel": D(0), "rejects": D(0)}
    found = reconcile(bulk_in=Decimal(bulk), **whole)  # type: ignore[arg-type]
    assert found.doubtful is doubtful


def test_bulk_of_which_nothing_is_filled_waits_with_the_reason(
    database: Any, redis_server: Any
) -> None:
    shop = open_workshop()
    oil = shop.material("Oil")
    shop.receive(oil, "10 kg", "50.00")
    salve, stock = shop.formula("Salve", [(oil, "100")]), shop.formula("Stock", [(oil, "100")])
    client = signed_in(shop)
    assert "No bulk waits" in shown(client.get("/fills"))
    for version in (salve, stock):
        shop.made_lot(version, "500")
    shop.formula("Cream", [(oil, "50"), (stock, "50")])
    page = client.get("/fills")
    assert "Salve made" in shown(page)
    assert "no product is filled with it yet" in shown(page)
    assert f'href="/products/new?formula={salve.formula_id}"' in page.content.decode()
    # What goes into a cream waits for that.
    assert "Stock" not in shown(page)
    shop.product(salve, "50 g")
    assert "no product is filled with it yet" not in shown(client.get("/fills"))
