"""What comes out of a batch beside what it was made for: lots of their own, at what they bring.

A by-product is immaterial by its nature: it is measured at net realisable value, and that is
deducted from the cost of the main product (IAS 2, paragraph 14; net realisable value is the price
less the costs to complete and to sell, paragraph 6).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from formulas.drawing import dates_of_made
from formulas.models import Batch, ByProduct, Making
from ledger.access import Actor, day_of, materials_for
from ledger.entries import Move, account
from ledger.errors import (
    Invalid,
    MoneyTooFine,
    Sentence,
    placed,
)
from ledger.lots import NewLot, must_be_stocked, open_lots
from ledger.measuring import density_of, measure
from ledger.models import Account, Holding, Lot, Material
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity


@dataclass(frozen=True, slots=True)
class ByProductDraft:
    """So much of a material that came out; `nrv` is what all of it will bring, after costs."""

    material: UUID | str
    quantity: Quantity
    nrv: Decimal


def materials_of(actor: Actor, drafts: Sequence[ByProductDraft]) -> list[Material]:
    """What each by-product is of. Raises NotFound in its place."""
    named = [(one.material, f"/by_products/{n}/material") for n, one in enumerate(drafts)]
    return materials_for(actor, named) if named else []


def open_by_products(
    actor: Actor,
    batch: Batch,
    drafts: Sequence[ByProductDraft],
    materials: Sequence[Material],
    held: Sequence[Holding],
    happened_at: datetime,
) -> list[ByProduct]:
    """Open a lot for each, in quarantine and no younger than what went in; nothing is posted yet.

    `materials` are what each is of. Raises DensityMissing, MoneyTooFine, and Invalid for what is
    counted or not stocked, for what the batch is made for, and for a value below zero.
    """
    if not drafts:
        return []
    rows = []
    for place, (draft, material) in enumerate(zip(drafts, materials, strict=True)):
        _check(actor, batch, draft, material, f"/by_products/{place}")
        with placed(f"/by_products/{place}/quantity"):
            measured = measure(draft.quantity, material, density_of(material))
        rows.append(
            ByProduct(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                position=place,
                entered=measured.entered,
                grams=measured.quantity,
                nrv=draft.nrv,
            )
        )
    day = day_of(actor, happened_at)
    new = []
    for material in materials:
        last, note = dates_of_made(day, material.shelf_life_days, (one.lot for one in held))
        new.append(
            NewLot(
                material=material,
                arrived_on=day,
                made_in_id=batch.account_id,
                expires_on=last,
                dates_note=note,
            )
        )
    for row, lot in zip(rows, open_lots(actor, new, release_basis=None), strict=True):
        row.lot = lot
    return rows


def moves_of_by_products(actor: Actor, rows: Sequence[ByProduct]) -> list[Move]:
    """The by-products out of what was made into the store, at what they will bring."""
    making = account(actor, Account.Kind.MAKING, "making")
    store = account(actor, Account.Kind.STORE, "store")
    return [Move(making, store, row.lot_id, row.grams, row.nrv) for row in rows]


def keep_by_products(making: Making, rows: Sequence[ByProduct]) -> None:
    """Keep what came out beside the main product of a making that was kept."""
    for row in rows:
        row.making = making
    ByProduct.objects.bulk_create(rows)


def by_products_of(making: Making) -> list[ByProduct]:
    """What came out beside the main product, in the order in which it was told."""
    return list(making.by_products.select_related("lot").order_by("position"))


def lots_of(rows: Sequence[ByProduct]) -> list[Lot]:
    """The lots of some by-products."""
    return [row.lot for row in rows]


def _check(
    actor: Actor, batch: Batch, draft: ByProductDraft, material: Material, pointer: str
) -> None:
    must_be_stocked(material, f"{pointer}/material")
    if material.counted:
        raise Invalid(
            Sentence("{material} is counted, and a by-product is weighed.", material=material.name),
            pointer=f"{pointer}/material",
        )
    if material.id == batch.version.formula.material_id:
        raise Invalid(
            Sentence(
                "{material} is what the batch makes: it belongs to the output.",
                material=material.name,
            ),
            pointer=f"{pointer}/material",
        )
    if draft.nrv < 0:
        raise Invalid("What it will bring is zero or more.", pointer=f"{pointer}/nrv")
    if draft.nrv != round_money(draft.nrv, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer=f"{pointer}/nrv")
