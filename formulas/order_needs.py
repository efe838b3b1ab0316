"""What an order plan is asked to cover: needs as they are told, or what batches and stock lack."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from formulas.requirements import Requirement, requirements
from ledger.access import Actor, materials_for
from ledger.balances import stock
from ledger.errors import Invalid, Sentence, placed
from ledger.measuring import measure
from ledger.models import Material
from ledger.order_terms import Need
from ledger.quantities import Quantity
from ledger.reordering import Reorder
from ledger.usage_reading import monthly_use


@dataclass(frozen=True, slots=True)
class GivenNeed:
    """A need as the maker tells it, in any unit of the material; `by` is when it must be there."""

    material: str
    quantity: Quantity
    use_per_month: Quantity | None = None
    by: date | None = None


@dataclass(frozen=True, slots=True)
class Lack:
    """What is wanted of a material, in grams or pieces, and its use of a month where that is told.

    `reorder` is of one that is low. Of what no `batch` needs nothing has to be ordered today.
    """

    material: Material
    quantity: Decimal
    use_per_month: Decimal | None = None
    by: date | None = None
    reorder: Reorder | None = None
    batch: bool = True


def given(actor: Actor, needs: Sequence[GivenNeed]) -> list[Lack]:
    """The needs as told. Raises NotFound, Invalid for a material that is named twice, and what
    turning a quantity into grams or pieces raises."""
    wanted = [(need.material, f"/needs/{place}/material") for place, need in enumerate(needs)]
    found: list[Lack] = []
    for place, (need, material) in enumerate(zip(needs, materials_for(actor, wanted), strict=True)):
        if any(material == other.material for other in found):
            raise Invalid(
                Sentence("{material} is needed twice: add its needs up.", material=material.name),
                pointer=f"/needs/{place}/material",
            )
        with placed(f"/needs/{place}/quantity"):
            quantity = measure(need.quantity, material).quantity
        use = None
        if need.use_per_month is not None:
            with placed(f"/needs/{place}/use_per_month"):
                use = measure(need.use_per_month, material).quantity
        found.append(Lack(material, quantity, use, need.by))
    return found


def lacking(actor: Actor, *, until: date, now: datetime) -> list[Lack]:
    """What batches planned up to a day lack of what is bought, and what lifts whatever is low above
    its point."""
    rows = requirements(actor, now=now, until=until, with_leads=False).rows
    return [
        Lack(row.material, row.to_order, reorder=row.reorder, batch=_is_needed(row))
        for row in rows
        if row.record.formula is None and row.to_order > 0
    ]


def _is_needed(row: Requirement) -> bool:
    """Whether a batch lacks some of it, and not its safety stock alone."""
    return row.record.net > 0 and any(week.needed for week in row.record.weeks)


def with_use(
    actor: Actor,
    told: Sequence[Lack],
    *,
    allow_expiring: bool,
    at_least: Mapping[str, Decimal],
    now: datetime,
) -> list[tuple[Lack, Need]]:
    """The needs with their use: as told, or else as measured, and then the need itself is sure to
    be used. Of what is to be bought `at_least`, by the id of the material, no less is asked. Who
    acts for the co-op alone has neither stock nor use."""
    ids = [one.material.id for one in told]
    measured: Mapping[UUID, Decimal] = {}
    usable: Mapping[UUID, Decimal] = {}
    if actor.maker_id is not None and not allow_expiring:
        measured = monthly_use(actor, materials=ids, now=now)
        rows = stock(actor, now=now, materials=ids, limit=max(1, len(ids)))
        usable = {row.material_id: row.usable for row in rows}
    found = []
    for one in told:
        id, use = one.material.id, one.use_per_month
        need = Need(
            id,
            one.quantity,
            None if allow_expiring else measured.get(id) if use is None else use,
            in_store=usable.get(id, Decimal(0)),
            sure=one.quantity if use is None else Decimal(0),
        )
        taken = max(need.quantity, at_least.get(str(id), Decimal(0)))
        found.append((one, replace(need, quantity=taken)))
    return found
