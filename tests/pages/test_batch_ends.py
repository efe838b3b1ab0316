"""A batch that is called off, and one that failed with something kept, on their page."""

import re
from typing import Any

import pytest

from formulas.models import ByProduct, JointProduct, Making
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.models import Lot, Membership
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in
from tests.pages.figures import all_of, opened, workings_of


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_called_off_or_thrown_away(shop: Workshop) -> None:
    oil = shop.material("Abyssinian oil")
    lot = shop.receive(oil, "2 kg", "80.00")
    version = shop.formula("Face oil", [(oil, "100")])
    client = signed_in(shop)
    first, second = shop.plan(version, "500 g"), shop.plan(version, "400 g")
    shop.weigh_all(first)
    shop.weigh_all(second)
    path = f"/batches/{first.batch.id}/stop"
    assert path in client.get(f"/batches/{first.batch.id}").content.decode()
    assert "Fill this in" in refused(client, path, way="off")
    only = "only of what failed"
    assert only in refused(client, path, way="off", reason="no time", kept="10")
    assert "called off" in done(client, path, way="off", reason="no time")
    assert shop.held(lot) == (D(1600), D(64))
    assert refused(client, path, way="off", reason="once more")
    path = f"/batches/{second.batch.id}/stop"
    away = {"way": "away", "reason": "it split"}
    assert "How much" in refused(client, path, **away, brings="2")
    assert refused(client, path, **away, kept="900")
    assert "thrown away" in done(client, path, **away, kept="100", brings="2")
    assert shop.disagreements() == []
    assert path not in client.get(f"/batches/{second.batch.id}").content.decode()


def test_what_came_out_beside_it_has_its_lot(shop: Workshop) -> None:
    """A kilogram of leaf for 30.00: 200 g of hydrolate bring 4.00, and the oil carries 26.00."""
    leaf, _ = shop.material("Rosemary leaf"), shop.material("Rosemary hydrolate")
    shop.receive(leaf, "1 kg", "30.00")
    planned = shop.plan(shop.formula("Rosemary oil", [(leaf, "100")]), "1 kg")
    shop.weigh_all(planned)
    client, path = signed_in(shop), f"/batches/{planned.batch.id}/finish"
    about = {"output": "650 g", "beside": "rosemary HYDROLATE", "beside_nrv": "4.00"}
    assert "How much of it came out?" in refused(client, path, **about)
    assert "What is it?" in refused(client, path, output="650 g", beside_quantity="200 g")
    about["beside_quantity"] = "200 g"
    unknown = sent(client, path, **{**about, "beside": "Rosemary wax"}).content.decode()
    assert "No material is called" in unknown
    assert 'value="Rosemary wax"' in unknown
    assert "Rosemary hydrolate" in done(client, path, **about)
    with acting_as(shop.actor):
        row = ByProduct.objects.select_related("lot").get(making__batch=planned.batch)
        oil = planned.batch.version.formula.material
        made = Lot.objects.get(material=oil)
    assert shop.held(row.lot) == (D(200), D(4))
    assert shop.held(made) == (D(650), D(26))


def distilled(shop: Workshop, name: str) -> tuple[Planned, str]:
    """10 kg of herb for 60.00 in the still, and where its end is typed."""
    herb = shop.material(f"{name} herb")
    shop.material(f"{name} water")
    shop.receive(herb, "10 kg", "60.00")
    planned = shop.plan(shop.formula(f"{name} oil", [(herb, "100")], loss="60"), "10 kg")
    shop.weigh_all(planned)
    return planned, f"/batches/{planned.batch.id}/finish"


def seen_in(answer: Any) -> str:
    """What the page sends back of the split that it shows."""
    (seen,) = re.findall(r'name="seen" value="(\w+)"', answer.content.decode())
    return str(seen)


BY_MASS = {"output": "200 g", "joint_quantity": "3800 g", "joint_base": "mass"}


def test_two_products_share_the_cost_as_was_shown_before(shop: Workshop) -> None:
    """By mass 3.00 and 57.00; by sales value 500 to 100, which is 50.00 and 10.00."""
    planned, path = distilled(shop, "Lavender")
    client = signed_in(shop)
    about = {**BY_MASS, "joint": "lavender WATER"}
    looked = sent(client, path, **about, do="look")
    page, of_mass = shown(looked), seen_in(looked)
    assert "Lavender oil 200 g 5 % 3.00 USD Lavender water 3.8 kg 95 % 57.00 USD" in page
    about |= {"joint_base": "sales_value", "joint_main_value": "500", "joint_value": "100"}
    first = client.post(path, {**about, "form_key": "one"})
    assert first.status_code == 422
    assert "It is done” once more" in shown(first)
    of_value = seen_in(first)
    for changed in (
        {"seen": of_mass},
        {"seen": of_value, "joint_value": "200"},
        {"seen": of_value, "output": "201 g"},
    ):
        again = sent(client, path, **{**about, **changed})
        assert "It is done” once more" in shown(again), changed
        assert seen_in(again) != changed["seen"], changed
    with acting_as(shop.actor):
        assert not Making.objects.filter(batch=planned.batch).exists()
    told = workings_of(first.content.decode())
    assert [one.exact for one in told] == [60, 60]
    assert [one.exact for one in told[1].parts] == [50, 10]
    assert all(one.adds_up for one in told)
    assert "Lavender water" in done(client, path, **about, seen=of_value)
    with acting_as(shop.actor):
        of_batch = JointProduct.objects.filter(making__batch=planned.batch)
        oil, water = of_batch.select_related("lot").order_by("position")
    assert (shop.held(oil.lot), shop.held(water.lot)) == (
        (D(200), D(50)),
        (D(3800), D(10)),
    )
    kept = opened(client, f"/batches/{planned.batch.id}/working?figure=split")
    assert [one.exact for one in all_of([kept])] == [60, 50, 10]
    assert "figure=split" in client.get(f"/batches/{planned.batch.id}").content.decode()
    assert shop.disagreements() == []


def test_what_is_wrong_of_a_second_product_is_said_where_it_is_typed(shop: Workshop) -> None:
    _planned, path = distilled(shop, "Rose")
    client = signed_in(shop)
    about = {**BY_MASS, "joint": "Rose water"}
    wrong = [
        ({"joint_quantity": ""}, "joint_quantity", "How much of it came out?"),
        ({"joint": ""}, "joint", "What is it?"),
        ({"joint": "Rose wax"}, "joint", "No material is called"),
        ({"joint": "Rose oil"}, "joint", "belongs to the output"),
        ({"joint_quantity": "much"}, "joint_quantity", "not a quantity"),
        ({"joint_value": "0"}, "joint_value", "no main product"),
        ({"joint_value": "1.005"}, "joint_value", "USD"),
        ({"joint_base": "sales_value"}, "joint_main_value", "what all of it fetches"),
        (
            {"joint_base": "sales_value", "joint_main_value": "5"},
            "joint_value",
            "what all of it fetches",
        ),
        (
            {
                **{"joint_base": "net_realisable_value", "joint_main_value": "5"},
                **{"joint_value": "4", "joint_further": "4"},
            },
            "joint_value",
            "is a by-product",
        ),
    ]
    for typed, field, why in wrong:
        for do in ("look", "finish"):
            answer = sent(client, path, **{**about, **typed, "do": do, "seen": "on"})
            assert answer.status_code == (200 if do == "look" else 422), typed
            errors = answer.context["form"].errors
            assert list(errors) == [field], (typed, errors)
            assert why in str(errors[field]), (typed, errors)
            assert '<details class="work" open><summary>Two products' in answer.content.decode()
    alone = sent(client, path, output="200 g", do="look")
    assert list(alone.context["form"].errors) == ["joint"]
    assert '<details class="work" open><summary>Two products' in alone.content.decode()


def test_enter_finishes_and_who_looks_too_late_is_told_so(shop: Workshop) -> None:
    """Enter presses the first button of a form; and what a look puts into the page is there in
    any case."""
    planned, path = distilled(shop, "Thyme")
    client = signed_in(shop)
    page = client.get(path).content.decode()
    first, *_, last = re.findall("<button[^>]*>", page[page.index('data-kept="finish"') :])
    assert ("name=" in first, 'tabindex="-1"' in first) == (False, True)
    assert last == '<button class="main">'
    assert page.count('id="finish"') == 1
    shop.finish(planned, "200 g")
    late = sent(client, path, **BY_MASS, joint="Thyme water", do="look").content.decode()
    assert "This batch is done." in late
    assert late.count('id="finish"') == 1


def test_what_was_lost_counts_as_some_of_the_first(shop: Workshop) -> None:
    """Of 4 kg 200 g of oil came out and 200 g were spilt: a tenth, 6.00, half of it expensed."""
    planned, path = distilled(shop, "Sage")
    client = signed_in(shop)
    about = {**BY_MASS, "joint_quantity": "3600 g", "joint": "Sage water"}
    about |= {"loss": "200 g", "loss_reason": "it was spilt"}
    looked = sent(client, path, **about, do="look")
    page = shown(looked)
    assert "Sage oil 400 g 10 % 6.00 USD Sage water 3.6 kg 90 % 54.00 USD" in page
    assert "its part of the cost is expensed" in page
    done(client, path, **about, seen=seen_in(looked))
    with acting_as(shop.actor):
        made = Making.objects.select_related("lot").get(batch=planned.batch)
    assert shop.held(made.lot) == (D(200), D(3))


def test_who_sees_no_costs_sees_the_shares_alone(shop: Workshop) -> None:
    planned, path = distilled(shop, "Mint")
    client = in_role(shop, Membership.Role.BENCH)
    page = shown(sent(client, path, **BY_MASS, joint="Mint water", do="look"))
    assert "Mint oil 200 g 5 % Mint water 3.8 kg 95 %" in page
    assert "57.00" not in page
    working = f"/batches/{planned.batch.id}/working?figure=split"
    assert client.get(working).status_code == 403
