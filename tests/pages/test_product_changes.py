"""A product is changed on its page, and what the page does not ask stays as it was."""

from typing import Any

import pytest
from django.test import Client

from formulas.models import Packaging
from ledger.access import acting_as
from ledger.models import Membership
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def fields_of(client: Client, path: str) -> dict[str, str]:
    """What a form would send if nobody typed anything."""
    form = client.get(path).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in sent.items() if value not in (None, "", [])}


def test_a_product_is_changed(shop: Workshop) -> None:
    oil, jar = shop.material("Oil"), shop.material("Jar", measured_by="count")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "100 g", [(jar, "1 each")], use="leave_on", areas=["lip"])
    client, path = signed_in(shop), f"/products/{product.id}/edit"
    as_it_is = {**fields_of(client, path), "version": "1"}
    assert as_it_is["packed_0"] == "Jar"
    assert as_it_is["use"] == "leave_on"
    assert "0 to 100" in refused(client, path, **{**as_it_is, "overfill_percent": "101"})
    typed = {**as_it_is, "name": "Lip balm", "months_after_opening": "12", "pieces_0": "2"}
    assert "Lip balm" in done(client, path, **typed)
    with acting_as(shop.actor):
        product.refresh_from_db()
        kept = product.packaging.get()
    assert (product.name, product.months_after_opening) == ("Lip balm", 12)
    assert (product.use, product.areas) == ("leave_on", ["lip"])
    assert (kept.material_id, kept.quantity) == (jar.id, 2)
    claiming = {**fields_of(client, path), "version": "2", "function": "Heals dry lips"}
    assert "may make a drug of a cosmetic" not in shown(client.get(path))
    done(client, path, **claiming)
    assert "may make a drug of a cosmetic" in shown(client.get(path))
    # Somebody else has changed it since this one was read.
    assert "changed" in refused(client, path, **typed)


def test_packaging_is_called_by_its_name(shop: Workshop) -> None:
    """Ten parts have their rows and one is spare; of two of one name it stays the one it was."""
    oil, first = shop.material("Almond oil"), shop.material("Lid", measured_by="count")
    second = shop.material("Lid", measured_by="count", inci_name="sure")
    others = [shop.material(f"Part {n}", measured_by="count") for n in range(9)]
    version = shop.formula("Almond balm", [(oil, "100")])
    packed = [(one, "1 each") for one in (second, *others)]
    product = shop.product(version, "30 g", packed)
    client, path = signed_in(shop), f"/products/{product.id}/edit"
    as_it_is = {**fields_of(client, path), "version": "1"}
    assert [name for name in as_it_is if name.startswith("pieces_")][-1] == "pieces_10"
    said = "No packaging is called “Almond oil”: choose one from the list, or add it first."
    assert said in refused(client, path, **{**as_it_is, "packed_10": "Almond oil"})
    done(client, path, **{**as_it_is, "packed_1": "", "packed_10": " pART 0 "})
    with acting_as(shop.actor):
        kept = [item.material_id for item in product.packaging.order_by("position")]
    assert kept == [second.id, *(one.id for one in others[1:]), others[0].id]
    new = {"name": "Other balm", "formula": str(version.formula_id), "nominal": "50 g"}
    done(client, "/products/new", **new, packed_0="lid", pieces_0="1")
    with acting_as(shop.actor):
        assert Packaging.objects.filter(material=first).count() == 1


def test_what_asks_for_care_with_a_product_is_said_to_whoever_writes_it(shop: Workshop) -> None:
    """Eye, lip, baby, leave-on and words of a drug, where costs are seen and where they are not."""
    oil = shop.material("Plain oil")
    version = shop.formula("Plain balm", [(oil, "100")])
    draft = {"formula": str(version.formula_id), "nominal": "50 g", "pieces_0": "1"}
    draft |= {"use": "leave_on", "areas": "lip"}
    owner, bench = signed_in(shop), in_role(shop, Membership.Role.BENCH)
    for client, name in ((owner, "Balm that heals"), (bench, "Healing balm")):
        page = done(client, "/products/new", name=name, **draft)
        assert "Asks for a stricter review" in page
        assert "Think again about this word" in page
    plain = shop.product(version, "50 g")
    assert "stricter review" not in shown(owner.get(f"/products/{plain.id}/edit"))


def test_another_formula_is_another_product(shop: Workshop) -> None:
    oil = shop.material("Oil")
    product = shop.product(shop.formula("Balm", [(oil, "100")]), "50 g")
    other = shop.formula("Other balm", [(oil, "100")])
    client, path = signed_in(shop), f"/products/{product.id}/edit"
    typed = {**fields_of(client, path), "version": "1", "formula": str(other.formula_id)}
    assert "keeps its formula" in refused(client, path, **typed)


def test_a_label_is_drafted_to_print(shop: Workshop) -> None:
    oil = shop.material("Oil", inci_name="Helianthus Annuus Seed Oil")
    product = shop.product(shop.formula("Oil", [(oil, "100")]), "50 g")
    assert "50 g" in shown(signed_in(shop).get(f"/products/{product.id}/label"))
