"""What is known of a material, on its pages: said, put right, and asked about once."""

from typing import Any

import pytest

from ledger.models import Material, MaterialPart
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def kept(shop: Workshop, name: str) -> Material:
    return shop.does(lambda actor: Material.objects.get(coop_id=actor.coop_id, name=name))


def test_a_material_is_made_with_all_that_is_known(shop: Workshop) -> None:
    client = signed_in(shop)
    typed = {"name": "Lavender oil", "measured_by": "mass", "declared_as": "ingredient"}
    more: dict[str, Any] = {
        "cautions": ["essential_oil", "botanical"],
        "allergens": "Linalool 38,5\r\n\r\nd Limonene 0.8 %",
        "max_percent": "1.2",
        "certificate_category": "category 4",
        "most_rinse_off": "2",
        "most_lip": "0.1",
        "function": "fragrance",
        "brings": ["allergens"],
    }
    path = "/materials/new"
    assert "name and its percent" in refused(client, path, **typed, **{**more, "allergens": "x"})
    assert "at most 100" in refused(client, path, **typed, **{**more, "max_percent": "100.5"})
    client.defaults["HTTP_ACCEPT_LANGUAGE"] = "de"
    more |= {"max_percent": "1,2", "most_lip": "0,1"}
    assert "above 0 and at most" in refused(client, path, **typed, **{**more, "most_lip": "0"})
    page = done(client, path, **typed, **more)
    assert "An essential oil" in page
    assert "in what is rinsed off 2 %, on the lips 0,1 %" in page.replace("\xa0", " ")
    assert "Linalool 38,5" in page
    row = kept(shop, "Lavender oil")
    assert (row.cautions, row.brings) == (["botanical", "essential_oil"], "allergens")
    assert str(row.max_percent) == "1.200000"
    parts = shop.does(lambda actor: list(MaterialPart.objects.filter(material=row.id)))
    assert {one.inci_name for one in parts} == {"Linalool", "d Limonene"}


def test_a_scent_is_judged_by_how_a_product_is_used(shop: Workshop) -> None:
    """One per cent of it may be rinsed off; in what stays on half of that is the most."""
    oil = shop.material("Coconut oil")
    scent = shop.material("Lily scent", cautions=["fragrance"])
    shop.receive(oil, "10 kg", "50.00")
    shop.receive(scent, "1 kg", "90.00")
    client, path = signed_in(shop), f"/materials/{scent.id}/facts"
    version = shop.formula("Lily", [(oil, "99"), (scent, "1")])
    wash = shop.product(version, "100 g", use="rinse_off")
    lotion = shop.product(version, "50 g", use="leave_on")
    price = [f"/products/{one.id}/price" for one in (wash, lotion)]
    assert "Look up the certificate" in shown(client.get(price[0]))
    typed = {"version": "1", "name": "Lily scent", "declared_as": "ingredient"}
    typed |= {"cautions": "fragrance", "most_rinse_off": "2", "most_leave_on": "0.5"}
    done(client, path, **typed)
    assert "Lily scent" not in shown(client.get(price[0])).split("A piece costs")[0]
    assert "Lily scent: 1 %, at most 0.5 % for leave-on" in shown(client.get(price[1]))
    named = {"version": "2", "called_leave_on": "category 5A"}
    unsaid = refused(client, path, **{**typed, **named, "most_leave_on": ""})
    assert "how much of it is allowed" in unsaid
    done(client, path, **{**typed, **named})
    assert "Lily scent: 1 %, at most 0.5 % for category 5A" in shown(client.get(price[1]))
    assert 'value="category 5A"' in client.get(path).content.decode()
    named["version"] = "3"
    done(client, path, **{**typed, **named, "most_leave_on": "1.5"})
    assert "at most 0.5 %" not in shown(client.get(price[1]))


def test_a_lotion_is_preserved_once_its_preservative_is_known_as_one(shop: Workshop) -> None:
    """Only what is typed anew changes; whoever comes second is told so."""
    aqua = shop.material("Rose water", cautions=["water"])
    guard = shop.material("Phenoxyethanol", density="1.1 g/mL")
    version = shop.formula("Lotion", [(aqua, "99"), (guard, "1")])
    client, path = signed_in(shop), f"/materials/{guard.id}/facts"
    formula = f"/formulas/{version.formula_id}"
    assert "nothing that is known as a preservative" in shown(client.get(formula))
    typed = {"version": "1", "name": "Phenoxyethanol", "declared_as": "ingredient"}
    typed |= {"density": "1.1 g/mL", "shelf_life_days": "700"}
    page = done(client, path, **typed, cautions=["preservative"])
    assert "A preservative" in page
    assert "nothing that is known as a preservative" not in shown(client.get(formula))
    row = kept(shop, "Phenoxyethanol")
    assert (row.version, row.cautions, row.shelf_life_days) == (2, ["preservative"], 700)
    assert str(row.density) == "1.100000000000"
    again = sent(client, path, **typed)
    assert again.status_code == 422
    assert "changed since you read it" in shown(again)


def test_a_name_that_is_nearly_taken_is_asked_about_once(shop: Workshop) -> None:
    client = signed_in(shop)
    shop.material("Shea butter")
    typed = {"name": "sheaButter ", "measured_by": "mass", "declared_as": "ingredient"}
    assert "There is Shea butter already" in refused(client, "/materials/new", **typed)
    assert "sheaButter" in done(client, "/materials/new", **typed, sure="on")
    rows = {"lines": "1", "lines-0-name": "Shea butter", "lines-0-amount": "balance"}
    assert "Hand balm" in done(client, "/formulas/new", name="Hand balm", **rows)
    assert "Hand balm" in refused(client, "/formulas/new", name="HAND BALM", **rows)
    assert "HAND BALM" in done(client, "/formulas/new", name="HAND BALM", **rows, sure="on")


def test_what_a_piece_weighs_and_what_the_tap_costs(shop: Workshop) -> None:
    jar, water = shop.material("Jar", measured_by="count"), shop.water()
    client = signed_in(shop)
    typed = {"version": "1", "declared_as": "ingredient"}
    page = done(client, f"/materials/{jar.id}/facts", name="Jar", mass_each="32 g", **typed)
    assert "32 g" in page.replace("\xa0", " ")
    done(client, f"/materials/{water.id}/facts", name="Aqua", cost_per_kg="0.01", **typed)
    assert str(kept(shop, "Aqua").cost_per_kg) == "0.010000"
    assert str(kept(shop, "Jar").mass_each) == "32.000000"
