"""Drafts of product labels, and what is still missing on them."""

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from formulas.declaration import Market
from formulas.labelling import LabelDraft, gtin_of_lot, label_product
from formulas.labels import Lasts
from formulas.models import Product
from formulas.products import ProductDraft, change_product
from ledger.access import acting_as
from ledger.errors import Invalid, NotFound
from ledger.gs1 import GtinWrong
from ledger.quantities import parse_quantity
from tests.factories import TODAY, Workshop, open_workshop
from tests.ledger.books import refused_by
from tests.published.rows import Row, published_rows

STATED = LabelDraft(
    gtin="6291041500213",
    months_after_opening=12,
    function="Hand balm",
    warnings="For external use.",
    made_by="North Bench, 1 Quay Road",
    report_to="north-bench.example/report",
    safety_file="folder 7",
)


def balm(shop: Workshop, *, days: int | None = 365, **facts: Any) -> Product:
    wax = shop.material("Wax", inci_name="Cera Alba")
    shop.receive(wax, "5 kg", "50.00")
    return shop.product(shop.formula("Balm", [(wax, "100")], shelf_life_days=days), "50 g", **facts)


def test_a_label_with_everything(shop: Workshop) -> None:
    product = balm(shop, label=STATED, use="leave_on")
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    lot = shop.finish(planned, "500 g", units=10).lot
    label = shop.does(label_product, product=product.id, today=TODAY, lot=lot.id)
    assert label.missing == ()
    assert label.declaration.text == "Cera Alba"
    assert label.contents.text == "Net Wt 1.76 oz, 50 g"
    assert label.durability.text == "Best before 06 May 2026"
    assert label.made_by == "North Bench, 1 Quay Road"
    assert shop.does(gtin_of_lot, lot) == "06291041500213"


def test_what_nobody_has_stated_is_missing(shop: Workshop) -> None:
    label = shop.does(label_product, product=balm(shop, days=None).id, today=TODAY)
    assert label.made_by == "North Bench"
    assert len(label.missing) == 8
    assert label.durability.kind is Lasts.UNKNOWN
    assert any("how many days" in said for said in label.missing)


@pytest.mark.parametrize("row", published_rows("labels.csv", "rule: EU label: batch number"))
def test_a_batch_number_is_required(shop: Workshop, row: Row) -> None:
    """The row's words are those that ask for it; with a lot, its code stands on the draft."""
    asked, required = row.expected.split(" or ")[0], row.expected.endswith("required")
    product = balm(shop, label=STATED, use="leave_on")
    missing = shop.does(label_product, product=product.id, today=TODAY).missing
    assert [asked in said for said in missing] == [required]
    planned = shop.plan(product, 10)
    shop.weigh_all(planned)
    lot = shop.finish(planned, "500 g", units=10).lot
    label = shop.does(label_product, product=product.id, today=TODAY, lot=lot.id)
    assert label.missing == ()
    assert label.lot == lot


def test_beyond_thirty_months_a_period_after_opening(shop: Workshop) -> None:
    long = balm(shop, days=1000, label=replace(STATED, months_after_opening=None))
    label = shop.does(label_product, product=long.id, today=TODAY, market=Market.US)
    assert any("once opened" in said for said in label.missing)
    draft = ProductDraft("Balm 50 g", long.formula_id, parse_quantity("50 g"), label=STATED)
    shop.does(change_product, product=long.id, expected_version=1, draft=draft)
    label = shop.does(label_product, product=long.id, today=TODAY)
    assert label.durability.text == "12M after opening"


@pytest.mark.parametrize(
    ("draft", "refused", "pointer"),
    [
        (replace(STATED, gtin="6291041500214"), GtinWrong, "/labelling/gtin"),
        (replace(STATED, gtin="12345"), GtinWrong, "/labelling/gtin"),
        (replace(STATED, gtin="629104150021٣"), GtinWrong, "/labelling/gtin"),
        (
            replace(STATED, months_after_opening=0),
            Invalid,
            "/labelling/months_after_opening",
        ),
    ],
)
def test_what_cannot_be_stated(
    shop: Workshop, draft: LabelDraft, refused: type[Invalid], pointer: str
) -> None:
    with pytest.raises(refused) as refusal:
        balm(shop, label=draft)
    assert refusal.value.pointer == pointer


@pytest.mark.parametrize(
    ("change", "constraint"),
    [
        ({"gtin": "06291041500214"}, "product_gtin_checks"),
        ({"gtin": "6291041500213"}, "product_gtin_checks"),
        ({"months_after_opening": 121}, "product_months_plausible"),
    ],
)
def test_the_database_refuses_as_well(
    shop: Workshop, change: dict[str, Any], constraint: str
) -> None:
    product = balm(shop, label=STATED)
    with acting_as(shop.actor), pytest.raises(DatabaseError) as refusal, transaction.atomic():
        Product.objects.filter(id=product.id).update(**change)
    assert refused_by(refusal.value) == constraint


def test_a_lot_of_something_else_and_of_others(shop: Workshop) -> None:
    product = balm(shop)
    other = shop.receive(shop.material("Oil"), "1 kg", "5.00")
    with pytest.raises(Invalid, match="not of Balm") as refusal:
        shop.does(label_product, product=product.id, today=TODAY, lot=other.id)
    assert refusal.value.pointer == "/lot"
    assert shop.does(gtin_of_lot, other) == ""
    mill = open_workshop("Mill Bench", coop=shop.coop)
    with pytest.raises(NotFound):
        mill.does(label_product, product=product.id, today=TODAY)
    theirs = mill.receive(mill.material("Cera"), "1 kg", "5.00")
    with pytest.raises(NotFound) as unseen:
        shop.does(label_product, product=product.id, today=TODAY, lot=theirs.id)
    assert unseen.value.pointer == "/lot"
    assert product.overfill_percent == D(0)
