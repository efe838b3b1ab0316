"""Planning a batch: its lines, the lots to pour from, and what is short; and cancelling it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from formulas.access import locked_batch, product_for, version_to_make
from formulas.errors import AlreadyFinished
from formulas.models import (
    Batch,
    BatchLine,
    BatchPackaging,
    FormulaVersion,
    Line,
    Packaging,
    Product,
)
from formulas.planning import Planned, plan_lots
from formulas.recipes import composed, density_of, fill_grams_of
from formulas.reserving import free, promised_materials
from formulas.scaling import Scaled, scale_batch, scale_output, scale_units
from ledger.access import Actor
from ledger.entries import Move, account, lock_pools, post_entry
from ledger.errors import (
    Invalid,
    QuantityTooLarge,
    Sentence,
    placed,
)
from ledger.ids import new_id
from ledger.models import Account, Entry, Holding, Material
from ledger.quantities import TOO_LARGE, Quantity, grams_of
from ledger.roles import Verb
from ledger.statements import run

MOST_UNITS = 1_000_000
# The maker's row, which numbers batches, is locked before any pool, by everyone.
_NUMBER = """
with numbered as (
  update ledger_maker set batches_numbered = batches_numbered + 1
    where coop_id = %s and id = %s returning mark, batches_numbered)
select mark, batches_numbered, ledger_lock_pools(%s::uuid[]) from numbered
"""


@dataclass(frozen=True, slots=True)
class Size:
    """How much is wanted, said in one of three ways: weighed in, left over, or units filled."""

    batch: Quantity | None = None
    output: Quantity | None = None
    units: int | None = None

    def scale(self, version: FormulaVersion, product: Product | None) -> Scaled:
        """The batch of this size.

        Raises DensityMissing, QuantityNotPositive, BatchTooSmall, QuantityTooLarge.
        """
        said = [n for n in ("units", "batch", "output") if getattr(self, n) is not None]
        if len(said) > 1:
            raise Invalid(
                "Say how much in one way: a batch, an output, or units.", pointer=f"/{said[1]}"
            )
        scaled = self._scaled(version, product)
        if max(scaled.batch_grams, scaled.output_grams) >= TOO_LARGE:
            raise QuantityTooLarge
        return scaled

    def _scaled(self, version: FormulaVersion, product: Product | None) -> Scaled:
        lines, loss = composed(version.lines.all()), version.process_loss_percent
        if self.units is not None and product is not None:
            if self.units > MOST_UNITS:
                raise Invalid(
                    Sentence("A batch fills at most {most_units} pieces.", most_units=MOST_UNITS),
                    pointer="/units",
                )
            fill = fill_grams_of(product, version)
            return scale_units(lines, self.units, fill, process_loss_percent=loss)
        for wanted, pointer, scale in (
            (self.batch, "/batch", scale_batch),
            (self.output, "/output", scale_output),
        ):
            if wanted is not None:
                grams = _grams(wanted, version, pointer)
                return scale(lines, grams, process_loss_percent=loss)
        raise Invalid("Say how much: a batch or an output of a formula, or units of a product.")

    @property
    def entered(self) -> str:
        wanted = self.batch or self.output
        return f"{self.units} pieces" if wanted is None else wanted.entered


def plan_batch(
    actor: Actor,
    *,
    planned_for: date,
    size: Size,
    formula: UUID | str | None = None,
    product: UUID | str | None = None,
) -> Planned:
    """Plan a batch of a formula or of units of a product, and reserve what it needs.

    Lots are picked first expiry first among those usable on `planned_for`. What cannot be had is
    short, and refuses nothing: a plan may be made before the goods are there. The version in
    force is the batch's for good. Raises Forbidden, NotFound, DensityMissing, Invalid.
    """
    actor.must(Verb.MAKE)
    made, version = _what(actor, formula, product, size)
    scaled = size.scale(version, made)
    packed = [] if made is None else list(made.packaging.all())
    poured = [_poured(line) for line in version.lines.all()]
    stocked = {one.id for one in (*poured, *(item.material for item in packed)) if one.stocked}
    code = _numbered(actor, planned_for, stocked)
    batch = _new_batch(actor, version, made, size, scaled, planned_for, code)
    lines = [
        _line(batch, place, line, part.grams)
        for place, (line, part) in enumerate(zip(version.lines.all(), scaled.lines, strict=True))
    ]
    packaging = [_packaging(batch, item) for item in packed]
    return plan_lots(actor, batch, lines, packaging)


def cancel_batch(actor: Actor, *, batch: UUID | str, reason: str, happened_at: datetime) -> Batch:
    """Cancel a planned batch: its promises are given back, and what was weighed returns to store
    at the value that it went in with.

    Raises NotFound, AlreadyFinished, Invalid for no reason.
    """
    actor.must(Verb.MAKE)
    if not reason.strip():
        raise Invalid("Say why the batch is cancelled.", pointer="/reason")
    found = locked_batch(actor, batch)
    must_be_planned(found)
    held = held_by(found)
    lock_pools(promised_materials(actor, found.account_id) | {h.material_id for h in held})
    free(actor, found.account_id)
    if held:
        found.cancel_entry_id = post_entry(
            actor,
            kind=Entry.Kind.CANCEL,
            happened_at=happened_at,
            moves=[
                Move(
                    found.account_id,
                    home_of(actor, h.lot.material),
                    h.lot_id,
                    h.quantity,
                    h.value,
                )
                for h in held
            ],
            reason=reason,
            details={"batch": str(found.id)},
        ).entry_id
    found.state = Batch.State.CANCELLED
    found.save(update_fields=["state", "cancel_entry"])
    return found


def must_be_planned(batch: Batch) -> None:
    """Raises AlreadyFinished for a batch that is finished, cancelled or scrapped."""
    if batch.state == Batch.State.FINISHED:
        raise AlreadyFinished(batch=batch.code)
    if batch.state == Batch.State.CANCELLED:
        raise AlreadyFinished(
            Sentence("The batch {code} is cancelled; plan a new one.", code=batch.code),
            batch=batch.code,
        )
    if batch.state == Batch.State.SCRAPPED:
        raise AlreadyFinished(
            Sentence(
                "The batch {code} is scrapped; plan a new one, or reverse the scrap if that was"
                " the mistake.",
                code=batch.code,
            ),
            batch=batch.code,
        )


def held_by(batch: Batch) -> list[Holding]:
    """What lies in a batch, each lot with its material."""
    return list(
        Holding.objects.select_related("lot__material")
        .filter(coop_id=batch.coop_id, account_id=batch.account_id, quantity__gt=0)
        .order_by("lot_id")
    )


def home_of(actor: Actor, material: Material) -> UUID:
    """Where a material is taken from and goes back to: the store, or the tap."""
    if material.stocked:
        return account(actor, Account.Kind.STORE, "store")
    return account(actor, Account.Kind.SOURCE, "drawn from the tap")


def _what(
    actor: Actor, formula: UUID | str | None, product: UUID | str | None, size: Size
) -> tuple[Product | None, FormulaVersion]:
    if (formula is None) == (product is None):
        raise Invalid("A batch is of a formula or of a product, one of them.", pointer="/formula")
    if product is not None:
        if size.units is None:
            raise Invalid("A batch of a product is planned in units.", pointer="/units")
        made = product_for(actor, product, pointer="/product")
        return made, version_to_make(actor, made.formula_id)
    if size.units is not None:
        raise Invalid("Units are of a product; give a batch or an output.", pointer="/units")
    return None, version_to_make(actor, formula or "", pointer="/formula")


def _grams(wanted: Quantity, version: FormulaVersion, pointer: str) -> Decimal:
    with placed(pointer):
        return grams_of(wanted, density=density_of(version), name=version.formula.name)


def _numbered(actor: Actor, planned_for: date, stocked: Iterable[UUID]) -> str:
    """The code of a new batch; the pools of what is stocked are locked with its number."""
    values = [actor.coop_id, actor.maker, sorted(stocked)]
    mark, number, _ = run(_NUMBER, values).fetchone()
    return f"{mark}{planned_for:%y}-{number:03d}"


def _new_batch(
    actor: Actor,
    version: FormulaVersion,
    product: Product | None,
    size: Size,
    scaled: Scaled,
    planned_for: date,
    code: str,
) -> Batch:
    id = new_id()
    return Batch(
        id=id,
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        code=code,
        account_id=account(actor, Account.Kind.BATCH, str(id)),
        version=version,
        product=product,
        units=size.units,
        fill_grams=None if product is None else fill_grams_of(product, version),
        planned_for=planned_for,
        asked_for=size.entered,
        batch_grams=scaled.batch_grams,
        output_grams=scaled.output_grams,
        person_id=actor.person_id,
    )


def _poured(line: Line) -> Material:
    """What is poured for a line: its material, or what its formula makes."""
    poured: Material = line.component.material if line.component else line.material
    return poured


def _line(batch: Batch, place: int, line: Line, grams: Decimal) -> BatchLine:
    return BatchLine(
        coop_id=batch.coop_id,
        maker_id=batch.maker_id,
        batch=batch,
        position=place,
        phase=line.phase.name,
        kind=line.kind,
        material=_poured(line),
        component=line.component,
        percent=line.percent,
        max_percent=line.max_percent,
        max_celsius=line.max_celsius,
        spent=line.spent,
        grams=grams,
    )


def _packaging(batch: Batch, item: Packaging) -> BatchPackaging:
    return BatchPackaging(
        coop_id=batch.coop_id,
        maker_id=batch.maker_id,
        batch=batch,
        position=item.position,
        material=item.material,
        per_unit=item.quantity,
    )
