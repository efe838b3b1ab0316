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

from formulas.beside import check_money, materials_of, moves_beside, open_lots_beside
from formulas.models import Batch, ByProduct, Making
from ledger.access import Actor
from ledger.entries import Move
from ledger.models import Holding, Material
from ledger.quantities import Quantity


@dataclass(frozen=True, slots=True)
class ByProductDraft:
    """So much of a material that came out; `nrv` is what all of it will bring, after costs."""

    material: UUID | str
    quantity: Quantity
    nrv: Decimal


def materials_of_by_products(actor: Actor, drafts: Sequence[ByProductDraft]) -> list[Material]:
    """What each by-product is of. Raises NotFound in its place."""
    return materials_of(
        actor, [(one.material, f"/by_products/{n}/material") for n, one in enumerate(drafts)]
    )


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
    place, wanted = "/by_products", []
    for n, (draft, material) in enumerate(zip(drafts, materials, strict=True)):
        check_money(actor, draft.nrv, f"{place}/{n}/nrv")
        wanted.append((material, draft.quantity, f"{place}/{n}"))
    opened = open_lots_beside(actor, batch, wanted, held, happened_at)
    return [
        ByProduct(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            position=n,
            lot=lot,
            entered=measured.entered,
            grams=measured.quantity,
            nrv=draft.nrv,
        )
        for n, (draft, (lot, measured)) in enumerate(zip(drafts, opened, strict=True))
    ]


def moves_of_by_products(actor: Actor, rows: Sequence[ByProduct]) -> list[Move]:
    """The by-products out of what was made into the store, at what they will bring."""
    return moves_beside(actor, ((row.lot_id, row.grams, row.nrv) for row in rows))


def keep_by_products(making: Making, rows: Sequence[ByProduct]) -> None:
    """Keep what came out beside the main product of a making that was kept."""
    for row in rows:
        row.making = making
    ByProduct.objects.bulk_create(rows)


def by_products_of(making: Making) -> list[ByProduct]:
    """What came out beside the main product, in the order in which it was told."""
    return list(making.by_products.select_related("lot").order_by("position"))
