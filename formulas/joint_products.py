"""A batch that makes several products at once: each is a lot with its part of the joint cost.

Such as an oil and the water it was distilled with. None of them is a by-product: what the batch
cost, without packaging and less what by-products bring, is split by a base that the maker states
(IAS 2, paragraph 14; `formulas.joint_costs`). What was declared lost is lost of the main product.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from formulas.beside import check_money, materials_of, moves_beside, open_lots_beside
from formulas.joint_costs import JointBase, JointOutput, split_joint_cost, weight_of
from formulas.models import Batch, JointProduct, Making
from ledger.access import Actor
from ledger.entries import Move
from ledger.errors import placed
from ledger.models import Holding, Lot, Material
from ledger.quantities import Quantity

ZERO = Decimal(0)
PLACE: Final = "/joint/products"


@dataclass(frozen=True, slots=True)
class JointProductDraft:
    """So much of a material that was made as well, and what all of it fetches, if that is asked."""

    material: UUID | str
    quantity: Quantity
    sales_value: Decimal | None = None
    further_cost: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class JointDraft:
    """The base, what the main product fetches and still costs, and the other products."""

    base: str
    products: Sequence[JointProductDraft]
    sales_value: Decimal | None = None
    further_cost: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Joint:
    """The products of one batch; `main` gets its lot and all of them their value at the finish."""

    base: JointBase
    main: JointProduct
    beside: Sequence[JointProduct]

    @property
    def lots(self) -> list[Lot]:
        return [one.lot for one in self.beside]

    @property
    def grams(self) -> Decimal:
        return sum((one.grams for one in self.beside), ZERO)

    @property
    def value(self) -> Decimal:
        return sum((one.value for one in self.beside), ZERO)


def materials_of_joint(actor: Actor, draft: JointDraft | None) -> list[Material]:
    """What each product beside the main one is of. Raises NotFound in its place."""
    products = () if draft is None else draft.products
    return materials_of(
        actor, [(one.material, f"{PLACE}/{n}/material") for n, one in enumerate(products)]
    )


def open_joint_products(
    actor: Actor,
    batch: Batch,
    draft: JointDraft | None,
    materials: Sequence[Material],
    main: tuple[str, Decimal],
    held: Sequence[Holding],
    happened_at: datetime,
) -> Joint | None:
    """Open a lot for each product beside the main one, of which `main` is what was entered and its
    grams; nothing is posted yet.

    `materials` are what each of the others is of. Raises DensityMissing, MoneyTooFine, and Invalid
    for what is counted or not stocked, for what the batch is made for, and for what has no part by
    the base.
    """
    if draft is None:
        return None
    base = JointBase(draft.base)
    first = _row(actor, 0, *main, draft, base, "/joint")
    wanted = [
        (material, one.quantity, f"{PLACE}/{n}")
        for n, (one, material) in enumerate(zip(draft.products, materials, strict=True))
    ]
    opened = open_lots_beside(actor, batch, wanted, held, happened_at)
    rows = []
    for n, (one, (lot, measured)) in enumerate(zip(draft.products, opened, strict=True)):
        kept = (measured.entered, measured.quantity)
        row = _row(actor, n + 1, *kept, one, base, f"{PLACE}/{n}")
        row.lot = lot
        rows.append(row)
    return Joint(base, first, rows)


def share_out(joint: Joint, cost: Decimal, declared_grams: Decimal) -> None:
    """Give each product its part of the joint cost; what was declared lost is the main one's."""
    rows = [joint.main, *joint.beside]
    outputs = [_output(row, declared_grams if row is joint.main else ZERO) for row in rows]
    # By-products that bring more than all of it cost are refused with the cost.
    for row, value in zip(
        rows, split_joint_cost(max(ZERO, cost), outputs, joint.base), strict=True
    ):
        row.value = value


def moves_of_joint_products(actor: Actor, joint: Joint | None) -> list[Move]:
    """The products beside the main one out of what was made into the store."""
    if joint is None:
        return []
    return moves_beside(actor, ((row.lot_id, row.grams, row.value) for row in joint.beside))


def facts_of_joint(joint: Joint | None) -> dict[str, Any]:
    """What a making keeps of its joint products."""
    if joint is None:
        return {}
    return {"joint_base": joint.base, "joint_grams": joint.grams, "joint_value": joint.value}


def keep_joint_products(making: Making, joint: Joint | None) -> None:
    """Keep the products of a making that was kept, the main one first."""
    if joint is None:
        return
    joint.main.lot_id = making.lot_id
    rows = [joint.main, *joint.beside]
    for row in rows:
        row.making = making
    JointProduct.objects.bulk_create(rows)


def joint_products_of(making: Making) -> list[JointProduct]:
    """The products of a making, the main one first; none where it was of one product."""
    if not making.joint_base:
        return []
    return list(making.joint_products.select_related("lot__material").order_by("position"))


def joint_cost_of(making: Making) -> Decimal:
    """What its products have in common: without packaging, less what by-products bring."""
    cost: Decimal = making.materials + making.labour + making.overhead - making.by_product_value
    return cost


def weights_of(making: Making, products: Sequence[JointProduct]) -> list[Fraction]:
    """What stands for each product by the base, the main one first with what was lost of it."""
    base = JointBase(making.joint_base)
    lost = [making.declared_grams, *(ZERO for _ in products[1:])]
    return [weight_of(_output(row, one), base) for row, one in zip(products, lost, strict=True)]


def _row(
    actor: Actor,
    position: int,
    entered: str,
    grams: Decimal,
    draft: JointDraft | JointProductDraft,
    base: JointBase,
    pointer: str,
) -> JointProduct:
    for name, amount in (("sales_value", draft.sales_value), ("further_cost", draft.further_cost)):
        if amount is not None:
            check_money(actor, amount, f"{pointer}/{name}")
    row = JointProduct(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        position=position,
        entered=entered,
        grams=grams,
        sales_value=draft.sales_value,
        further_cost=draft.further_cost,
    )
    with placed(f"{pointer}/sales_value"):
        weight_of(_output(row, ZERO), base)
    return row


def _output(row: JointProduct, lost: Decimal) -> JointOutput:
    return JointOutput(row.grams, row.sales_value, row.further_cost, lost)
