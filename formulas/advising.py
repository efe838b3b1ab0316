"""Advice on a planned batch: lots that expire before its day, and what can be made for it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import batches_of, with_details
from formulas.composition import Recipe, explode, left_after_loss
from formulas.models import Batch, BatchLine, MadeFor
from formulas.picking import RELEASED, PickableLot, pick
from formulas.planning import Planned
from formulas.recipes import recipes_under
from formulas.reserving import available_on, stored_lots
from formulas.scaling import to_step
from formulas.shares import Chosen, shares
from ledger.access import Actor, find
from ledger.models import Lot, Material
from ledger.roles import Verb
from ledger.store_costs import StoreCosts, StoreDraw, costs_of

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Poured:
    """So many grams or pieces of a lot, and what they would cost."""

    lot_id: UUID
    code: str
    quantity: Decimal
    value: Decimal
    last_day: date | None


@dataclass(frozen=True, slots=True)
class Sooner:
    """Made on this day or before, these lots would be poured; `saves` is the value of those that
    expire unused otherwise."""

    make_by: date
    picks: tuple[Poured, ...]
    value: Decimal
    saves: Decimal


@dataclass(frozen=True, slots=True)
class Expiring:
    """A material of which lots are skipped because they expire before the batch's day.

    `skipped` is all that is left of each, and `at_risk` what that is worth.
    """

    material: Material
    needed: Decimal
    picks: tuple[Poured, ...]
    value: Decimal
    skipped: tuple[Poured, ...]
    at_risk: Decimal
    sooner: tuple[Sooner, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """So much of a bought material for an intermediate, and how much of it is there."""

    material: Material
    grams: Decimal
    available: Decimal
    short: Decimal


@dataclass(frozen=True, slots=True)
class Offer:
    """An intermediate of which there is not enough: making `output_grams` takes `batch_grams`.

    `planned` are the batches of it that are planned for this one already.
    """

    formula_id: UUID
    name: str
    short: Decimal
    output_grams: Decimal
    batch_grams: Decimal
    planned: tuple[Batch, ...]
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """What to think of before a planned batch is made."""

    batch: Batch
    expiring: tuple[Expiring, ...]
    offers: tuple[Offer, ...]


def advise(actor: Actor, *, batch: UUID | str, today: date) -> Advice:
    """Lots that expire before the day of a planned batch, and intermediates that it lacks.

    Nothing for a batch that is finished or cancelled. The costs are as the store is now. A fixed
    number of queries, but one for each depth of formulas within formulas. Raises NotFound.
    """
    actor.must(Verb.READ)
    found = find(with_details(batches_of(actor)), batch)
    if found.state != Batch.State.PLANNED:
        return Advice(found, (), ())
    needed, materials = _needed(found)
    stored = stored_lots(actor, needed, account=found.account_id)
    lots = {id: [one.pickable for one in stored[id]] for id in needed}
    expiring = _expiring(actor, found, needed, materials, lots, today)
    return Advice(found, expiring, _offers(actor, found, _planned_for(found)))


def advise_new(actor: Actor, planned: Planned, *, today: date) -> Advice:
    """The same for a batch that was just planned, by the lots that the plan looked at.

    No query where nothing expires and nothing is lacking.
    """
    batch = planned.batch
    needed, materials = _needed(batch)
    expiring = _expiring(actor, batch, needed, materials, planned.lots, today)
    return Advice(batch, expiring, _offers(actor, batch, ()))


def missing(batch: Batch) -> dict[UUID, Decimal]:
    """Grams that a batch fetched with its details lacks of each intermediate, by its formula.

    Less what is planned for it already and not finished yet.
    """
    return _missing(batch, _planned_for(batch))


def _missing(batch: Batch, planned: Iterable[Batch]) -> dict[UUID, Decimal]:
    lacks = _lacking(batch)
    for child in planned:
        formula = child.version.formula_id
        if formula in lacks:
            lacks[formula] -= child.output_grams
    return {formula: grams for formula, grams in lacks.items() if grams > 0}


def _lacking(batch: Batch) -> dict[UUID, Decimal]:
    lots = Chosen.of(batch)
    lacks: dict[UUID, Decimal] = defaultdict(Decimal)
    lines: Sequence[BatchLine] = sorted(batch.lines.all(), key=lambda line: line.position)
    for line in lines:
        if line.component_id is not None:
            lacks[line.component_id] += lots.short(line, line.material_id)
    return {formula: grams for formula, grams in lacks.items() if grams > 0}


def _planned_for(batch: Batch) -> list[Batch]:
    rows = MadeFor.objects.select_related("batch__version__formula", "batch__product")
    rows = rows.filter(parent=batch, batch__state=Batch.State.PLANNED).order_by("id")
    return [row.batch for row in rows]


def _offers(actor: Actor, batch: Batch, planned: Sequence[Batch]) -> tuple[Offer, ...]:
    lacks = _lacking(batch)
    if not lacks:
        return ()
    names = {line.component_id: line.component.name for line in batch.lines.all() if line.component}
    still = _missing(batch, planned)
    recipes = recipes_under(batch.version)
    needs: dict[UUID, dict[str, Fraction]] = {}
    for formula, grams in lacks.items():
        loss = recipes[str(formula)].process_loss_percent
        weighed_in = Fraction(still.get(formula, ZERO) or grams) / left_after_loss(loss)
        needs[formula] = explode(str(formula), weighed_in, recipes)
    ids = {UUID(id) for parts in needs.values() for id in parts}
    materials = Material.objects.in_bulk(ids)
    there = available_on(actor, ids, batch.planned_for)
    return tuple(
        Offer(
            formula_id=formula,
            name=names[formula],
            short=grams,
            output_grams=still.get(formula, ZERO),
            batch_grams=_weighed_in(still.get(formula, ZERO), recipes[str(formula)]),
            planned=tuple(one for one in planned if one.version.formula_id == formula),
            parts=tuple(
                _part(materials[UUID(id)], exact, there[UUID(id)])
                for id, exact in needs[formula].items()
            ),
        )
        for formula, grams in lacks.items()
    )


def _weighed_in(output: Decimal, recipe: Recipe) -> Decimal:
    """need ÷ (1 - loss), to the step of the scale."""
    return to_step(Fraction(output) / left_after_loss(recipe.process_loss_percent))


def _part(material: Material, exact: Fraction, available: Decimal) -> Part:
    grams = to_step(exact)
    there = available if material.stocked else grams
    return Part(material, grams, there, max(ZERO, grams - there))


def _needed(batch: Batch) -> tuple[dict[UUID, Decimal], dict[UUID, Material]]:
    """What a batch still needs of what is stocked, and those materials."""
    needed: dict[UUID, Decimal] = defaultdict(Decimal)
    materials: dict[UUID, Material] = {}
    for share in shares(batch.lines.all(), batch.changes.all(), batch.weighings.all()):
        needed[share.material.id] += share.still
        materials[share.material.id] = share.material
    for item in batch.packaging.all():
        needed[item.material_id] += item.per_unit * (batch.units or 0)
        materials[item.material_id] = item.material
    wanted = {id: grams for id, grams in needed.items() if grams > 0 and materials[id].stocked}
    return wanted, materials


def _expiring(
    actor: Actor,
    batch: Batch,
    needed: Mapping[UUID, Decimal],
    materials: Mapping[UUID, Material],
    lots: Mapping[UUID, list[PickableLot]],
    today: date,
) -> tuple[Expiring, ...]:
    day = batch.planned_for
    skipped = {id: late for id in needed if (late := _skipped(lots.get(id, ()), day))}
    if not skipped:
        return ()
    teller = _Teller(actor, {id: lots[id] for id in skipped})
    return tuple(
        teller.tell(materials[id], needed[id], day, late, today) for id, late in skipped.items()
    )


def _skipped(lots: Iterable[PickableLot], day: date) -> list[PickableLot]:
    """Lots that could be used but for their date."""
    return [
        lot
        for lot in lots
        if lot.status == RELEASED
        and lot.available > 0
        and lot.last_day is not None
        and lot.last_day < day
    ]


class _Teller:
    """Tells what a material would be poured from on a day, and what that costs."""

    def __init__(self, actor: Actor, lots: Mapping[UUID, list[PickableLot]]) -> None:
        self.lots = lots
        self.costs: StoreCosts = costs_of(actor, lots)
        ids = {UUID(lot.lot) for some in lots.values() for lot in some}
        self.codes = dict(Lot.objects.filter(id__in=ids).values_list("id", "code"))
        self.last = {UUID(lot.lot): lot.last_day for some in lots.values() for lot in some}

    def tell(
        self, material: Material, needed: Decimal, day: date, late: list[PickableLot], today: date
    ) -> Expiring:
        picks = self._on(material.id, needed, day)
        whole = [StoreDraw(material.id, UUID(lot.lot), lot.available) for lot in late]
        skipped = self._poured(whole)
        days = sorted({lot.last_day for lot in late if lot.last_day and lot.last_day >= today})
        return Expiring(
            material,
            needed,
            picks,
            _value(picks),
            skipped,
            _value(skipped),
            tuple(self._sooner(material.id, needed, early, late) for early in days),
        )

    def _sooner(
        self, material: UUID, needed: Decimal, day: date, late: list[PickableLot]
    ) -> Sooner:
        picks = self._on(material, needed, day)
        spared = {UUID(lot.lot) for lot in late}
        saves = _value(one for one in picks if one.lot_id in spared)
        return Sooner(day, picks, _value(picks), saves)

    def _on(self, material: UUID, needed: Decimal, day: date) -> tuple[Poured, ...]:
        picked = pick(self.lots[material], needed, day)
        return self._poured(
            [StoreDraw(material, UUID(one.lot), one.quantity) for one in picked.picks]
        )

    def _poured(self, draws: Sequence[StoreDraw]) -> tuple[Poured, ...]:
        return tuple(
            Poured(d.lot_id, self.codes[d.lot_id], d.quantity, d.value, self.last[d.lot_id])
            for d in self.costs.of(draws)
        )


def _value(poured: Iterable[Poured]) -> Decimal:
    return sum((one.value for one in poured), ZERO)
