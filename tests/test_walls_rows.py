"""The walls, tried from inside: all rows are asked for, without any filter of the application.

Two co-ops of two makers each, with one of everything. What PostgreSQL's row-level security then
leaves is the maker's own, whatever a query forgot.
"""

from dataclasses import replace
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models

from formulas.by_products import ByProductDraft
from formulas.complaints import add_fact, log_complaint
from formulas.emptying import empty
from formulas.joint_products import JointDraft, JointProductDraft
from formulas.standards import set_formula_standard
from ledger.access import acting_as
from ledger.catalogue import PartFacts, change_material
from ledger.claiming import accept_claim, claim_share
from ledger.coop_clearing import clear_coop
from ledger.documents import attach_document
from ledger.issuing import Taken, sell
from ledger.limits import Limit
from ledger.models import Coop as CoopRow
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import close_recall, contact_buyer, open_recall
from ledger.retesting import Found, record_results, specify
from ledger.settling import dispute, record_payment
from ledger.sharing import open_share
from ledger.stopping import decide_through
from ledger.transferring import accept_transfer, offer_transfer
from tests.api.files import pdf
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.filling import fill_the_rest

# In one process, which populates them once.


@pytest.fixture(scope="module")
def workshops(database: Any) -> list[Workshop]:
    """Two co-ops of two makers each, populated by the verbs."""
    found = []
    for _ in range(2):
        first = open_workshop("North Bench")
        found += [first, open_workshop("Mill Bench", coop=first.coop)]
    for shop in found:
        _fill(shop)
        fill_the_rest(shop)
    for giver, taker in (found[:2], found[2:]):
        _recall(giver, taker)
        _recall(taker, giver)
        _share(giver, taker)
        _share(taker, giver)
        _settle(giver, taker)
    return found


def _fill(shop: Workshop) -> None:
    oil, jar = shop.material("Oil", density="0.91 g/mL"), shop.material("Jar", measured_by="count")
    jelly = shop.material("Jelly")
    lot = shop.receive(oil, "10 kg", "77.70", freight="3.00")
    shop.receive(jar, "100 each", "33.30")
    version = shop.formula("Balm", [(oil, "100")])
    shop.does(
        change_material,
        material=version.formula.material_id,
        version=None,
        facts={"composition": [PartFacts("Olea Europaea Oil", D(100))]},
    )
    product = shop.product(version, "50 g", [(jar, "1 each")])
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=TODAY)
    planned = shop.plan(product, 3)
    shop.weigh_all(planned)
    shop.look_again(planned)
    beside = ByProductDraft(jelly.id, parse_quantity("1 g"), D(1))
    water = JointProductDraft(shop.material("Hydrosol").id, parse_quantity("2 g"))
    made = shop.finish(
        planned,
        "147 g",
        units=3,
        samples=["1 each"],
        by_products=[beside],
        joint=JointDraft("mass", [water]),
    )
    shop.does(empty, lot=made.lot.id, units=1, reason="no lid", happened_at=MORNING)
    shop.plan(product, 500)
    complaint = shop.does(
        log_complaint, received_on=TODAY, today=TODAY, what_happened="a rash", product=product.id
    )
    shop.does(add_fact, complaint=complaint.id, kind="note", on=TODAY, today=TODAY, text="called")
    shop.does(specify, material=oil.id, limits=[Limit("acid value", high=D(2))])
    found = [Found("acid value", D(1))]
    shop.does(record_results, lot=lot.id, found=found, tested_on=TODAY, today=TODAY)
    paper = shop.does(
        attach_document, lot=lot.id, kind="coa", content=pdf(), name="certificate.pdf"
    )
    shop.does(
        decide_through, lot=lot.id, decision="hold", basis="cloudy", documents=[str(paper.id)]
    )


def _recall(giver: Workshop, taker: Workshop) -> None:
    """A lot of which the other maker has some is recalled, and the notice answered."""
    lot = giver.receive(giver.material("Shea butter"), "1 kg", "9.00")
    offer = giver.does(
        offer_transfer,
        maker=taker.actor.maker,
        lot=lot.id,
        quantity=parse_quantity("100 g"),
        happened_at=MORNING,
    )
    taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    sold = [Taken(lot.id, parse_quantity("10 g"))]
    giver.does(sell, lines=sold, customer="market stall 4", happened_at=MORNING)
    recall = giver.does(open_recall, lot=lot.id, reason="mould", happened_at=MORNING)
    giver.does(
        contact_buyer,
        recall=recall.id,
        customer="market stall 4",
        how="phone",
        on=TODAY,
        today=TODAY,
        answered=True,
    )
    giver.does(close_recall, recall=recall.id, reason="all have answered", happened_at=MORNING)
    (notice,) = taker.does(lambda actor: list(notices_of(actor, incoming=True)))
    taker.does(answer_notice, notice=notice.id, hold=True)


def _share(giver: Workshop, taker: Workshop) -> None:
    """A lot opened to the co-op, of which the other maker claims some."""
    lot = giver.receive(giver.material("Cocoa butter"), "1 kg", "9.00")
    share = giver.does(
        open_share, lot=lot.id, quantity=parse_quantity("500 g"), happened_at=MORNING
    )
    claim = taker.does(
        claim_share, share=share.id, quantity=parse_quantity("100 g"), happened_at=MORNING
    )
    giver.does(accept_claim, claim=claim.id, happened_at=MORNING)


def _settle(one: Workshop, other: Workshop) -> None:
    """A payment that is disputed, and a clearing of the rest."""
    paid = one.does(
        record_payment,
        maker=other.actor.maker,
        amount=D(2),
        paid=True,
        happened_at=MORNING,
        note="cash",
    )
    one.does(dispute, movement=paid.id, reason="it was three")
    third = open_workshop("Third Bench", coop=one.coop)
    for payer, payee in ((one, third), (third, other)):
        payer.does(
            record_payment,
            maker=payee.actor.maker,
            amount=D(5),
            paid=True,
            happened_at=MORNING,
            note="cash",
        )
    coordinator = replace(one.actor, maker_id=None, role="coordinator")
    with acting_as(coordinator):
        clear_coop(coordinator, happened_at=MORNING)


def walled() -> list[type[models.Model]]:
    """Every model of a co-op or of a maker."""
    ours = [
        model
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    ]
    return [model for model in ours if "coop" in {field.name for field in model._meta.fields}]


def test_every_table_is_behind_a_wall(workshops: list[Workshop]) -> None:
    """Whatever has a co-op is asked for below; whatever has none is known by name."""
    named = {model.__name__ for model in walled()}
    assert {"Lot", "Entry", "Posting", "Holding", "Formula", "Batch", "Token", "Answer"} <= named
    open_to_all = {
        model.__name__
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    } - named
    assert open_to_all <= {"Coop", "WorkerLife"}, open_to_all


@pytest.mark.parametrize("model", walled(), ids=lambda model: str(model.__name__))
def test_without_any_filter_only_ones_own_is_there(
    workshops: list[Workshop], model: type[models.Model]
) -> None:
    fields = {field.name for field in model._meta.fields}
    private = "maker" in fields
    rows: Any = model._default_manager
    for shop in workshops:
        with acting_as(shop.actor):
            coops = set(rows.values_list("coop_id", flat=True))
            # What is meant for another maker is seen by that one, too.
            others = rows.exclude(to_maker=shop.actor.maker) if "to_maker" in fields else rows
            makers = set(others.values_list("maker_id", flat=True)) if private else set()
            counted = rows.count()
            with connection.cursor() as cursor:
                cursor.execute(f"select count(*) from {model._meta.db_table}")
                (by_hand,) = cursor.fetchone()
        assert coops <= {shop.actor.coop_id}
        assert makers <= {shop.actor.maker_id, None}
        assert counted == by_hand


def test_the_tables_are_not_empty(workshops: list[Workshop]) -> None:
    """Or the test above would prove nothing."""
    shop = workshops[0]
    with acting_as(shop.actor):
        empty = {m.__name__ for m in walled() if not m._default_manager.exists()}
    may_be = {"Token", "Answer", "Alert", "Watch", "CostPolicy", "Outbox", "Filling", "Sweep"}
    assert sorted(empty - may_be) == []


def test_outside_the_walls_there_is_nothing(workshops: list[Workshop]) -> None:
    everything: list[Any] = [*walled(), CoopRow]
    for model in everything:
        assert not model._default_manager.exists(), model
