"""Lots that come out of a batch beside what it was made for, whatever they carry of its cost."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from formulas.drawing import dates_of_made
from formulas.models import Batch, ByProduct, JointProduct, Making
from ledger.access import Actor, day_of, materials_for
from ledger.entries import Move, account
from ledger.errors import Invalid, MoneyTooFine, Sentence, placed
from ledger.lots import NewLot, must_be_stocked, open_lots
from ledger.measuring import Measured, density_of, measure
from ledger.models import Account, Holding, Lot, Material
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity


def materials_of(actor: Actor, named: Sequence[tuple[UUID | str, str]]) -> list[Material]:
    """The materials with these ids, each with the place where it was named. Raises NotFound."""
    return materials_for(actor, named) if named else []


def open_lots_beside(
    actor: Actor,
    batch: Batch,
    wanted: Sequence[tuple[Material, Quantity, str]],
    held: Sequence[Holding],
    happened_at: datetime,
) -> list[tuple[Lot, Measured]]:
    """A lot for so much of each material, in quarantine and no younger than what went in.

    Each comes with its place, where a refusal points. Nothing is posted yet. Raises
    DensityMissing, and Invalid for what is counted or not stocked or what the batch is made for.
    """
    if not wanted:
        return []
    measured = [_measured(batch, *one) for one in wanted]
    day = day_of(actor, happened_at)
    new = []
    for material, _, _ in wanted:
        last, note = dates_of_made(day, material.shelf_life_days, held)
        new.append(
            NewLot(
                material=material,
                arrived_on=day,
                made_in_id=batch.account_id,
                expires_on=last,
                dates_note=note,
            )
        )
    return list(zip(open_lots(actor, new, release_basis=None), measured, strict=True))


def check_money(actor: Actor, amount: Decimal, pointer: str) -> None:
    """Raises Invalid for an amount below zero, MoneyTooFine for parts of the smallest coin."""
    if amount < 0:
        raise Invalid("An amount of money is zero or more here.", pointer=pointer)
    if amount != round_money(amount, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer=pointer)


def _measured(batch: Batch, material: Material, quantity: Quantity, pointer: str) -> Measured:
    must_be_stocked(material, f"{pointer}/material")
    if material.counted:
        raise Invalid(
            Sentence(
                "{material} is counted, and what comes out beside is weighed.",
                material=material.name,
            ),
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
    with placed(f"{pointer}/quantity"):
        return measure(quantity, material, density_of(material))


def moves_beside(actor: Actor, made: Iterable[tuple[UUID, Decimal, Decimal]]) -> list[Move]:
    """Lots out of what was made into the store, each with its grams and what it carries."""
    making = account(actor, Account.Kind.MAKING, "making")
    store = account(actor, Account.Kind.STORE, "store")
    return [Move(making, store, lot, grams, value) for lot, grams, value in made]


def lots_beside(making: Making) -> list[ByProduct | JointProduct]:
    """What came out beside the main product, each with its lot and material; mostly nothing."""
    found: list[ByProduct | JointProduct] = []
    if making.by_product_grams:
        found += making.by_products.select_related("lot__material").order_by("position")
    if making.joint_base:
        others = making.joint_products.filter(position__gt=0)
        found += others.select_related("lot__material").order_by("position")
    return found
