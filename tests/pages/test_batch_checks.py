"""Checks of a batch and second looks, a part thrown away, rework, and pieces emptied again."""

import uuid
from dataclasses import replace

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from formulas.composing import new_version
from formulas.filling import fill
from formulas.models import Weighing
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.models import Membership
from tests.factories import MORNING, D, Workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in
from tests.pages.figures import workings_of


@pytest.fixture
def balm(shop: Workshop) -> Planned:
    """100 g of oil, weighed in; at most a tenth of such a batch may be rework."""
    oil = shop.material("Sunflower oil")
    shop.receive(oil, "10 kg", "50.00")
    first = shop.formula("Balm", [(oil, "100")])
    draft = replace(shop.draft("Balm", [(oil, "100")]), rework_max_percent=D(10))
    version = shop.does(new_version, formula=first.formula_id, expected_version=1, draft=draft)
    planned = shop.plan(version, "100 g")
    shop.weigh_all(planned)
    return planned


def another_at(shop: Workshop, role: Membership.Role = Membership.Role.BENCH) -> Client:
    """The browser of somebody else of the same maker."""
    person = get_user_model().objects.create_user(f"helper-{uuid.uuid4().hex[:12]}")
    seat = {"maker_id": shop.actor.maker, "person": person, "role": role}
    with acting_as(shop.actor):
        Membership.objects.create(coop_id=shop.actor.coop_id, **seat)
    return signed_in(replace(shop, actor=replace(shop.actor, person_id=person.pk)))


def test_a_second_person_looks_and_checks_are_signed(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    batch = f"/batches/{balm.batch.id}"
    path = f"{batch}/checks"
    assert path in client.get(batch).content.decode()
    with acting_as(shop.actor):
        weighing = str(Weighing.objects.get(batch=balm.batch.id).id)
    assert "somebody else looks" in shown(client.get(path))
    assert "does not look a second time" in refused(client, path, weighing=weighing)
    other = another_at(shop)
    assert "I have seen it" in shown(other.get(path))
    assert "seen by helper-" in done(other, path, weighing=weighing, note="drum 3")
    assert "drum 3" in other.get(f"{path}?as=csv&table=looks").content.decode()
    assert "already" in refused(other, path, weighing=weighing)
    assert "seen by helper-" in shown(client.get(batch))
    kettle = {"kind": "equipment", "subject": "Kettle 2"}
    assert "what was not as it should be" in refused(client, path, **kettle, result="fail")
    assert "Choose one of these" in refused(client, path, **kettle)
    assert "equipment: Kettle 2" in done(client, path, **kettle, result="pass")
    approved = {"kind": "approval", "result": "pass"}
    assert "finish it first" in refused(other, path, **approved)
    shop.finish(balm, "99 g")
    assert "ask somebody else" in refused(client, path, **approved)
    assert "approval of the batch" in done(other, path, **approved)
    assert len(client.get(f"{path}?as=csv").content.decode().splitlines()) == 3


def test_a_part_is_thrown_away_and_the_batch_goes_on(
    shop: Workshop, client: Client, balm: Planned
) -> None:
    path = f"/batches/{balm.batch.id}/stop"
    assert f"{path}?way=part" in client.get(f"/batches/{balm.batch.id}/bench").content.decode()
    assert typed_in(client, f"{path}?way=part", "part")["way"] == "part"
    why = {"reason": "it was spilt"}
    assert "where a part failed" in refused(client, path, way="part", **why)
    assert "where a part failed" in refused(client, path, way="away", part="5", **why)
    assert "all that is in the batch" in refused(client, path, way="part", part="100", **why)
    page = done(client, path, way="part", part="40", **why)
    assert "it was spilt" in page
    assert "40 g" in page
    page = shown(client.get(path))
    assert "to be made" in page
    assert "it was spilt 40 g" in page
    assert "40" in client.get(f"{path}?as=csv").content.decode().splitlines()[1]
    assert shop.disagreements() == []


def test_a_lot_is_worked_into_another_batch(shop: Workshop, client: Client, balm: Planned) -> None:
    made = shop.finish(balm, "90 g").lot
    with acting_as(shop.actor):
        bought = Weighing.objects.get(batch=balm.batch.id).lot
    planned = shop.plan(balm.batch.version, "100 g")
    path = f"/batches/{planned.batch.id}/rework"
    assert f"/lots/{made.id}/rework" in client.get(f"/lots/{made.id}").content.decode()
    listed = client.get(f"/lots/{made.id}/rework").content.decode()
    assert f"{path}?lot={made.code}" in listed
    assert "It was delivered" in shown(client.get(f"/lots/{bought.id}/rework"))
    assert "May still go in 10 g" in shown(client.get(path))
    assert typed_in(client, f"{path}?lot={made.code}", "lot")["lot"] == made.code
    into = {"lot": made.code, "approval": "the owner, by its smell"}
    assert "at most 10.00 g more" in refused(client, path, quantity="11", **into)
    assert "was made here" in refused(client, path, quantity="5", **{**into, "lot": bought.code})
    assert f"In: 6 g Balm, {made.code}." in done(client, path, quantity="6", **into)
    assert "May still go in 4 g" in shown(client.get(path))
    within, left = workings_of(client.get(path).content.decode())
    assert [(one.name, one.exact) for one in within.parts] == [(made.code, D(6))]
    assert [one.exact for one in left.parts] == [10, -6]
    assert left.adds_up
    register = f"/deviations?batch={planned.batch.id}"
    assert register in client.get(f"/batches/{planned.batch.id}").content.decode().replace(
        "&amp;", "&"
    )
    page = shown(client.get(register))
    assert "the owner, by its smell" in page
    assert "not in the formula" in page
    assert "There are none" in shown(client.get(f"{register}&kind=maximum_temperature"))
    assert "There are none" in shown(client.get(f"{register}&since=2190-01-01"))
    assert client.get(f"{register}&kind=none").status_code == 422
    rows = client.get(f"/deviations?as=csv&lot={made.id}").content.decode().splitlines()
    assert len(rows) == 2
    assert planned.batch.code in rows[1]


def test_pieces_are_emptied_into_bulk(shop: Workshop, client: Client, balm: Planned) -> None:
    bulk = shop.finish(balm, "100 g").lot
    product = shop.product(balm.batch.version, "20 g")
    filled = shop.does(fill, product=product.id, lot=bulk.id, units=5, happened_at=MORNING)
    path = f"/lots/{filled.lot.id}/emptying"
    for page in (f"/fills/{filled.filling.id}", f"/lots/{filled.lot.id}"):
        assert path in client.get(page).content.decode()
    assert "no pieces that were filled" in shown(client.get(f"/lots/{bulk.id}/emptying"))
    assert "In store 5 pieces Filled into each 20 g" in shown(client.get(path))
    assert "Fill this in" in refused(client, path, units="2")
    assert refused(client, path, units="6", reason="no lid")
    page = done(client, path, units="2", reason="no lid")
    assert "In store 40 g" in page
    assert "in quarantine" in page
    assert "In store 3 pieces" in shown(client.get(path))
    assert shop.disagreements() == []


def test_who_only_reads_is_offered_nothing(shop: Workshop, balm: Planned) -> None:
    reader, batch = another_at(shop, Membership.Role.READ_ONLY), f"/batches/{balm.batch.id}"
    for path in (f"{batch}/checks", f"{batch}/top-up", f"{batch}/rework", "/deviations"):
        page = reader.get(path)
        assert page.status_code == 200
        assert 'name="form_key"' not in page.content.decode().split('id="main"')[1]
    for path, typed in (
        (f"{batch}/checks", {"kind": "equipment", "result": "pass"}),
        (f"{batch}/rework", {"lot": "NB1", "quantity": "1", "approval": "nobody"}),
    ):
        assert sent(reader, path, **typed).status_code == 422
    assert "Nothing yet" in shown(reader.get(f"{batch}/checks"))
    assert "In so far 0 g" in shown(reader.get(f"{batch}/rework"))
