"""What a product's label says it is made of, on a page."""

from typing import Any

import pytest
from django.test import Client

from api.pages.reader import THIN, Reader
from ledger.catalogue import PartFacts
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import shown, signed_in
from tests.pages.figures import Told, all_of, amount_in, figures_of, workings_of


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_product_is_declared_with_its_allergens(shop: Workshop) -> None:
    water = shop.water(inci_name="Aqua")
    oil = shop.material("Sunflower oil", inci_name="Helianthus Annuus Seed Oil")
    scent = [PartFacts("Linalool", D(40)), PartFacts("Geraniol", D("0.5"))]
    lavender = shop.material(
        "Lavender oil", inci_name="Lavandula Angustifolia Oil", allergens=scent
    )
    lines = [(water, "balance"), (oil, "10"), (lavender, "0.5")]
    product = shop.product(shop.formula("Lotion", lines), "100 g", use="rinse_off")
    client, path = signed_in(shop), f"/products/{product.id}/declaration"
    text = "Aqua, Helianthus Annuus Seed Oil, Lavandula Angustifolia Oil, Linalool"
    answer = client.get(path)
    assert f'id="declared">{text}</p>' in answer.content.decode()
    page = shown(answer).replace("\xa0", " ")
    assert "Linalool named here 0.2 % yes yes" in page
    assert "Geraniol 0.0025 % yes no" in page
    assert "Sunflower oil" in page
    assert "not a safety assessment" in page
    assert "rinsed off" in page
    # Elsewhere it is called otherwise, and what boils off is no longer there.
    page = shown(client.get(f"{path}?market=us&water_lost_percent=80"))
    assert "Helianthus Annuus Seed Oil, Water, Lavandula" in page
    told = told_on(client, f"{path}?market=eu&water_lost_percent=80")
    assert [part.exact for part in told["Aqua"].parts] == [D("89.5"), D("-42")]
    assert [part.exact for part in told["Linalool"].parts] == [D("0.2"), D("0.8")]
    much = client.get(f"{path}?market=eu&water_lost_percent=95")
    assert much.status_code == 422
    assert "89.5 %" in shown(much)
    kept = client.get(f"{path}?as=csv&table=allergens").content.decode()
    assert "Geraniol,0.0025,yes,no,no" in kept
    assert "in the US" in shown(client.get(f"{path}?market=us"))


def test_a_percent_opens_to_the_ways_by_which_it_comes_in(shop: Workshop) -> None:
    """5 % as it is, 8 % within a glycerite, and some more of a blend in there."""
    glycerin = shop.material("Glycerin", inci_name="Glycerin")
    herb = shop.material("Mallow", inci_name="Malva Sylvestris Leaf")
    halves = [PartFacts("Glycerin", D(40)), PartFacts("Sucrose", D(60))]
    blend = shop.material("Sweet blend", composition=halves)
    made = shop.formula("Glycerite", [(herb, "10"), (glycerin, "80"), (blend, "10")], loss="20")
    gel = shop.formula("Mallow gel", [(made, "10"), (glycerin, "5"), (herb, "85")])
    product = shop.product(gel, "100 g")
    told = told_on(signed_in(shop), f"/products/{product.id}/declaration")
    sweet = told["Glycerin"]
    assert sweet.exact == D("13.4")
    assert [(one.name, one.exact) for one in sweet.parts] == [
        ("Glycerin", D(13)),
        ("Sweet blend", D("0.4")),
    ]
    assert {one.name: one.exact for one in sweet.parts[0].parts} == {
        "within Glycerite": D(8),
        "as it is": D(5),
    }


def told_on(client: Client, path: str) -> dict[str, Told]:
    """The workings of a declaration by name, all of which add up."""
    page = client.get(path).content.decode()
    told = {one.name: one for one in workings_of(page)}
    assert all(one.adds_up for one in all_of(list(told.values())) if one.parts)
    for one in figures_of(page):
        assert one.to == "#shares"
        # A thousandth decides what is named, so that none is rounded away.
        assert amount_in(one.text) in {each.exact for each in told.values()}, one
    return told


def test_no_digit_is_rounded_away_that_decides_where_a_name_stands(shop: Workshop) -> None:
    oil = shop.material("Rapeseed oil", inci_name="Brassica Campestris Seed Oil")
    lines = [(shop.material("Wax", inci_name="Cera Alba"), "balance"), (oil, "1.0004")]
    product = shop.product(shop.formula("Salve", lines), "100 g")
    client, path = signed_in(shop), f"/products/{product.id}/declaration"
    page = shown(client.get(path)).replace("\xa0", " ")
    assert "Rapeseed oil 1.0004 % in this order" in page
    told_on(client, path)


@pytest.mark.parametrize(
    ("percent", "told"),
    [
        ("57.90001", "57.9"),
        ("0.0125", "0.0125"),
        ("0.000031", "0.00003"),
        ("1.000004", "1.000004"),
        ("0.999996", "0.999996"),
        ("1", "1"),
    ],
)
def test_a_percent_has_four_digits_and_all_where_it_would_seem_to_be_one(
    percent: str, told: str
) -> None:
    assert Reader().declared_percent(D(percent)) == f"{told}{THIN}%"


def test_a_batch_is_declared_by_what_was_weighed(shop: Workshop) -> None:
    oil = shop.material("Oil", inci_name="Prunus Amygdalus Dulcis Oil")
    wax = shop.material("Wax", inci_name="Cera Alba")
    lots = [shop.receive(one, "1 kg", "10.00") for one in (oil, wax)]
    version = shop.formula("Balm", [(oil, "60"), (wax, "40")])
    planned = shop.plan(version, "100 g")
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/declaration"
    page = shown(client.get(path))
    assert "By its plan" in page
    assert "Prunus Amygdalus Dulcis Oil, Cera Alba" in page
    for place, grams in enumerate(("30 g", "70 g")):
        shop.weigh(planned, place, lots[place], grams, deviation="as it came")
    shop.finish(planned, "98 g")
    page = shown(client.get(path))
    assert "By what was weighed" in page
    assert "Cera Alba, Prunus Amygdalus Dulcis Oil" in page
    of_product = f"/products/{shop.product(version, '50 g').id}/declaration"
    assert f'href="{path}"' in client.get(of_product).content.decode()


def test_what_has_no_name_is_said_with_the_way_to_it(shop: Workshop) -> None:
    butter = shop.material("Some butter")
    product = shop.product(shop.formula("Butter", [(butter, "100")]), "50 g")
    client = signed_in(shop)
    answer = client.get(f"/products/{product.id}/declaration")
    assert answer.status_code == 200
    assert "give an INCI name or a composition to Some butter" in shown(answer)
    assert 'href="/materials?q=Some%20butter"' in answer.content.decode()
    assert "/declaration" in client.get(f"/products/{product.id}/price").content.decode()
