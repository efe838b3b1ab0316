"""What pages once took without a word, or said with a sign too many."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from api.pages.reader import Reader
from api.templatetags.pages import measured
from ledger.access import acting_as
from ledger.models import OrderRound
from ledger.settling import record_payment
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_year_that_is_a_slip_is_refused(shop: Workshop) -> None:
    client = signed_in(shop)
    formula = shop.formula("Balm", [(shop.material("Wax"), "100")])
    batch = {"what": f"formula:{formula.formula_id}", "size": "1 kg"}
    for year, wrong in ((timezone.now().year - 6, "long past"), (9999, "too far away")):
        told = refused(client, "/batches/new", planned_for=f"{year}-05-05", **batch)
        assert wrong in told
    opened = {"name": "Spring", "buyer": str(shop.actor.maker)}
    late = refused(client, "/order-rounds", closes_at="9999-01-01T12:00", **opened)
    assert "9999 is too far away" in late
    soon = (timezone.now() + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    done(client, "/order-rounds", closes_at=soon, **opened)
    with acting_as(shop.actor):
        made = OrderRound.objects.get()
    shop.water()
    pledge = {"do": "pledge", "material": "Aqua", "quantity": "5 kg"}
    assert "nobody orders it" in refused(client, f"/order-rounds/{made.id}", **pledge)


def test_a_size_is_of_the_kind_that_is_made_and_refused_in_its_place(shop: Workshop) -> None:
    client = signed_in(shop)
    version = shop.formula("Lip balm", [(shop.material("Berry wax"), "100")])
    product = shop.product(version, "10 g")
    asked = shown(client.get("/batches/new"))
    assert "Of a product its pieces, such as 40; of bulk what goes into the pot" in asked
    for what, size, why in (
        (f"product:{product.id}", "2 kg", "A product is planned in pieces"),
        (f"formula:{version.formula_id}", "40", "Only a filled product is made in pieces"),
        (f"product:{product.id}", "0", "must be above zero"),
    ):
        answer = sent(client, "/batches/new", what=what, size=size, planned_for=str(TODAY))
        assert answer.status_code == 422
        page = answer.content.decode()
        assert why in page.split('id="id_size_error"')[1].split("</ul>")[0]
        assert "units" not in shown(answer)


def test_a_material_with_no_other_name_begins_with_what_is_known(shop: Workshop) -> None:
    oil = shop.material("Apricot oil", density="0.91 g/mL")
    page = signed_in(shop).get(f"/materials/{oil.id}").content.decode()
    assert '<p class="lead facts"><span>0.91 g/mL</span></p>' in page


def test_what_cannot_be_shared_is_not_offered(shop: Workshop) -> None:
    oil = shop.material("Oil")
    bought = shop.receive(oil, "5 kg", "25.00")
    made = shop.made_lot(shop.formula("Salve", [(oil, "100")]), "100")
    client = signed_in(shop)
    assert "Share it" in shown(client.get(f"/lots/{bought.id}"))
    assert "Share it" not in shown(client.get(f"/lots/{made.id}"))


def test_what_is_owed_is_said_in_words_alone(shop: Workshop) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    about = {"maker": shop.actor.maker, "amount": D("4.33"), "paid": True, "note": "cash"}
    other.does(record_payment, happened_at=MORNING, **about)
    page = shown(signed_in(shop).get("/settlement"))
    assert "you owe 4.33 USD" in page


def test_a_cas_number_proves_itself(shop: Workshop) -> None:
    client, facts = signed_in(shop), {"measured_by": "mass", "declared_as": "ingredient"}
    assert "no CAS number" in refused(
        client, "/materials/new", name="Odd", cas_number="abc", **facts
    )


def test_what_was_typed_in_the_same_unit_is_said_once() -> None:
    page = {"reader": Reader("de")}
    assert measured(page, "5 kg", D(5000)) == "5\N{NO-BREAK SPACE}kg"
    assert measured(page, "2.5 lb", D(1134)) == "2,5 lb = 1,134\N{NO-BREAK SPACE}kg"
