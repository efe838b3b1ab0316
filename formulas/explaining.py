"""The working of a batch: from each figure down to lots, densities, charges and people.

What is needed is loaded level by level: a batch, then the batches that its intermediates came
from, and so on, in a fixed number of queries for each level.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import F

from formulas.access import batch_for, standing
from formulas.costing import BatchCost, BatchYield
from formulas.filling import total_of
from formulas.finishing import cost_of, yield_of
from formulas.models import Batch, Filling, Making, Weighing
from ledger.access import Actor, lot_for
from ledger.models import LayerPosting, Lot, Posting, ReceiptLine
from ledger.roles import Verb

# A merged layer (moving average) holds what many receipts cost; the newest of them are told.
RECEIPTS_TOLD: Final = 20
_INTO_LAYERS: Final = """
select a.layer_id, p.lot_id, a.quantity, a.value
  from unnest(%(layers)s::uuid[]) l(id)
  cross join lateral (
    select lp.layer_id, lp.entry_id, lp.line, lp.quantity, lp.value from ledger_layerposting lp
      where lp.coop_id = %(coop)s and lp.layer_id = l.id and lp.quantity > 0
        and lp.entry_id < %(before)s
      order by lp.entry_id desc limit %(told)s) a
  join ledger_posting p
    on p.coop_id = %(coop)s and p.entry_id = a.entry_id and p.line in (2 * a.line - 1, 2 * a.line)
   and p.quantity > 0
  order by a.layer_id, a.entry_id
"""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure and where it comes from: how it was reckoned, the facts used, and its parts.

    `unit` is a currency, "g", "each" or "%"; a figure without an amount groups its parts.
    """

    name: str
    amount: Decimal | None = None
    unit: str = ""
    how: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)
    parts: tuple["Figure", ...] = ()


@dataclass(slots=True)
class _Known:
    """All that was loaded, by what it belongs to."""

    batches: dict[UUID, Batch] = field(default_factory=dict)
    weighings: dict[UUID, list[Weighing]] = field(default_factory=lambda: defaultdict(list))
    values: dict[UUID, Decimal] = field(default_factory=dict)
    packed: dict[UUID, list[Posting]] = field(default_factory=lambda: defaultdict(list))
    layers: dict[tuple[UUID, int], list[LayerPosting]] = field(
        default_factory=lambda: defaultdict(list)
    )
    received: dict[UUID, list[tuple[UUID, Decimal, Decimal]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    lots: dict[UUID, Lot] = field(default_factory=dict)
    receipt_lines: dict[UUID, ReceiptLine] = field(default_factory=dict)
    makings: dict[UUID, Making] = field(default_factory=dict)
    fillings: dict[UUID, Filling] = field(default_factory=dict)


def explain(actor: Actor, batch: UUID | str) -> Figure:
    """The working of a finished or planned batch, as a tree. Raises NotFound, Forbidden."""
    actor.must(Verb.SEE_COSTS)
    found = batch_for(actor, batch)
    known = _Known()
    _load_all(actor, {found.id}, known)
    return _Teller(actor.currency, known).batch(found.id)


def explain_lot(actor: Actor, lot: UUID | str) -> Figure:
    """The working of what a lot cost: its receipt and charges, or the batch that made it.

    Raises NotFound, Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    found = lot_for(actor, lot)
    known = _Known()
    _load_lots({found.id}, known)
    _load_all(actor, {making.batch_id for making in known.makings.values()}, known)
    return _Teller(actor.currency, known).origin(found.id)


def _load_all(actor: Actor, wanted: set[UUID], known: _Known) -> None:
    """Load batches and, level by level, the batches that their intermediates came from."""
    while wanted:
        _load(actor, wanted, known)
        made = {making.batch_id for making in known.makings.values()}
        wanted = made - known.batches.keys()


def _load(actor: Actor, wanted: set[UUID], known: _Known) -> None:
    """Load one level: these batches, what went into them, and where the lots came from."""
    rows = Batch.objects.select_related("version__formula", "product", "making__person")
    batches = {row.id: row for row in rows.filter(id__in=wanted)}
    known.batches |= batches
    weighings = standing(Weighing.objects.filter(batch_id__in=wanted))
    for row in weighings.select_related("lot__material", "person").order_by("id"):
        known.weighings[row.batch_id].append(row)
    entries = {row.entry_id for id in wanted for row in known.weighings[id]}
    makes = {row.making.entry_id for row in batches.values() if row.making}
    accounts = [row.account_id for row in batches.values()]
    into = Posting.objects.filter(
        coop_id=actor.coop_id, entry_id__in=entries, account_id__in=accounts
    )
    known.values |= dict(into.values_list("entry_id", "value"))
    packed = Posting.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, entry_id__in=makes, account__kind="store", quantity__lt=0
    )
    for posting in packed.order_by("line"):
        known.packed[posting.entry_id].append(posting)
    _load_layers(actor, entries | makes, known)
    _load_origins(actor, known)


def _load_layers(actor: Actor, entries: set[UUID], known: _Known) -> None:
    """The layers that were taken from, and for merged ones what had gone into them by then."""
    rows = LayerPosting.objects.select_related("layer").filter(
        coop_id=actor.coop_id, entry_id__in=entries, quantity__lt=0
    )
    merged: set[UUID] = set()
    for row in rows.order_by("entry_id", "line", "layer__ordinal"):
        known.layers[row.entry_id, row.line].append(row)
        if row.layer.lot_id is None:
            merged.add(row.layer_id)
    if not merged:
        return
    with connection.cursor() as cursor:
        cursor.execute(
            _INTO_LAYERS,
            {
                "layers": sorted(merged),
                "coop": actor.coop_id,
                "before": max(entries),
                "told": RECEIPTS_TOLD,
            },
        )
        told = cursor.fetchall()
    for layer in merged:
        known.received[layer] = [tuple(row[1:]) for row in told if row[0] == layer]


def _load_origins(actor: Actor, known: _Known) -> None:
    """Where every lot met so far came from: a receipt line, a batch, a fill."""
    wanted: set[UUID | None] = set()
    wanted |= {row.lot_id for rows in known.weighings.values() for row in rows}
    wanted |= {row.lot_id for rows in known.packed.values() for row in rows}
    wanted |= {row.layer.lot_id for rows in known.layers.values() for row in rows}
    wanted |= {lot for rows in known.received.values() for lot, _, _ in rows}
    _load_lots({id for id in wanted if id is not None}, known)


def _load_lots(wanted: set[UUID], known: _Known) -> None:
    """Lots with what they came from, and for filled ones the bulk too."""
    new = wanted - known.lots.keys()
    lots = Lot.objects.select_related("material", "supplier").filter(id__in=new)
    known.lots |= {row.id: row for row in lots}
    lines = ReceiptLine.objects.select_related("receipt").prefetch_related("shares__charge")
    known.receipt_lines |= {row.lot_id: row for row in lines.filter(lot_id__in=new)}
    made = Making.objects.filter(lot_id__in=new, batch__making=F("id"))
    known.makings |= {row.lot_id: row for row in made}
    filled = Filling.objects.select_related("product").filter(lot_id__in=new)
    known.fillings |= {row.lot_id: row for row in filled}
    bulk = {row.bulk_lot_id for row in known.fillings.values()} - known.lots.keys()
    if bulk:
        _load_lots(bulk, known)


class _Teller:
    """Tells what was loaded as figures. A batch is told in full once, and by its code after."""

    def __init__(self, currency: str, known: _Known) -> None:
        self.currency = currency
        self.known = known
        self.told: set[UUID] = set()

    def batch(self, id: UUID) -> Figure:
        batch = self.known.batches[id]
        facts = {
            "batch": batch.code,
            "formula": batch.version.formula.name,
            "version": str(batch.version.number),
        }
        name, making = f"batch {batch.code}", batch.making
        if id in self.told:
            return Figure(name, facts=facts, how="Its working stands above.")
        self.told.add(id)
        if making is None:
            return Figure(name, facts=facts, parts=self._weighings(batch))
        facts |= {"finished_at": making.happened_at.isoformat(), "by": making.person.username}
        cost, yielded = cost_of(making), yield_of(making, batch)
        return Figure(
            name,
            facts=facts,
            parts=(*self._cost(batch, making, cost), *_yielded(making, yielded)),
        )

    def _cost(self, batch: Batch, making: Making, cost: BatchCost) -> Iterable[Figure]:
        inputs = self._money(
            "inputs",
            cost.inputs,
            "materials + packaging + labour + overhead",
            parts=(
                self._money("materials", cost.materials, "all weighings", self._weighings(batch)),
                self._money("packaging", cost.packaging, "drawn at finish", self._packed(making)),
                self._money("labour", cost.labour, "minutes · hourly rate ÷ 60"),
                self._money("overhead", cost.overhead, "sum per batch + percent of materials"),
            ),
        )
        abnormal = self._money(
            "abnormal",
            cost.abnormal,
            "declared · (inputs - packaging) ÷ (output + declared)",
            facts=_declared(making),
        )
        yield self._money("total", cost.total, "inputs - abnormal", (inputs, abnormal))
        yield self._money("per_kg", cost.per_kg, "(total - packaging) ÷ output")
        if cost.per_unit is not None:
            yield self._money("per_unit", cost.per_unit, f"total ÷ {making.units} units")

    def _weighings(self, batch: Batch) -> tuple[Figure, ...]:
        return tuple(self._weighing(row) for row in self.known.weighings[batch.id])

    def _weighing(self, row: Weighing) -> Figure:
        facts = {
            "lot": row.lot.code,
            "supplier_lot": row.lot.supplier_lot,
            "entered": row.entered,
            "grams": f"{row.quantity:f}",
            "at": row.happened_at.isoformat(),
            "by": row.person.username,
            "entry": str(row.entry_id),
        }
        facts |= _density(row.density, row.density_of)
        if row.deviation:
            facts["deviation"] = row.deviation
        value = self.known.values.get(row.entry_id)
        if row.quantity < 0:
            return self._money("weighed back", value, "at the value it went in with", facts=facts)
        return self._money(
            row.lot.material.name,
            value,
            "taken from the cost layers",
            self._layers(row.entry_id, 1) or (self.origin(row.lot_id),),
            facts,
        )

    def _packed(self, making: Making) -> tuple[Figure, ...]:
        return tuple(
            self._money(
                row.lot.material.name,
                -row.value,
                "taken from the cost layers",
                self._layers(row.entry_id, (row.line + 1) // 2),
                {"lot": row.lot.code, "count": f"{-row.quantity:f}"},
            )
            for row in self.known.packed[making.entry_id]
        )

    def _layers(self, entry_id: UUID, line: int) -> tuple[Figure, ...]:
        return tuple(self._layer(row) for row in self.known.layers.get((entry_id, line), ()))

    def _layer(self, row: LayerPosting) -> Figure:
        facts = {"quantity": f"{-row.quantity:f}"}
        if row.layer.lot_id is not None:
            origin = self.origin(row.layer.lot_id)
            how = f"the part of lot {self.known.lots[row.layer.lot_id].code} that was taken"
            return self._money("layer", -row.value, how, (origin,), facts)
        received = self.known.received[row.layer_id]
        parts = tuple(self.origin(lot) for lot in dict.fromkeys(lot for lot, _, _ in received))
        how = "moving average of what was in store; these receipts went into it last"
        return self._money("layer", -row.value, how, parts, facts)

    def origin(self, lot_id: UUID) -> Figure:
        """Where a lot came from, with what it cost there."""
        lot = self.known.lots.get(lot_id)
        if lot is None:
            return Figure("lot")
        facts = {"lot": lot.code, "supplier_lot": lot.supplier_lot}
        if lot_id in self.known.receipt_lines:
            return self._received(self.known.receipt_lines[lot_id], lot, facts)
        if lot_id in self.known.makings:
            making = self.known.makings[lot_id]
            total = cost_of(making).total
            return self._money(
                "made", total, "what its batch cost", (self.batch(making.batch_id),), facts
            )
        if lot_id in self.known.fillings:
            return self._filled(self.known.fillings[lot_id], facts)
        if not lot.material.stocked:
            facts["cost_per_kg"] = f"{lot.material.cost_per_kg or 0:f}"
            return Figure("not stocked", facts=facts, how=lot.material.cost_source)
        return Figure("opening stock", facts=facts, how="valued when the books began")

    def _filled(self, filling: Filling, facts: dict[str, str]) -> Figure:
        facts |= {"units": str(filling.units), "used": f"{filling.used_grams:f} g"}
        parts = (
            self._money("bulk", filling.bulk, "used", (self.origin(filling.bulk_lot_id),)),
            self._money("packaging", filling.packaging, "drawn at filling"),
            self._money("labour", filling.labour, "minutes · hourly rate ÷ 60"),
        )
        return self._money("filled", total_of(filling), "bulk + packaging + labour", parts, facts)

    def _received(self, line: ReceiptLine, lot: Lot, facts: dict[str, str]) -> Figure:
        unit = "each" if lot.material.counted else "g"
        facts |= {
            "supplier": lot.supplier.name if lot.supplier else "",
            "received_at": line.receipt.happened_at.isoformat(),
            "entered": line.entered,
            "quantity": f"{line.quantity:f} {unit}",
            "entry": str(line.receipt.entry_id),
        }
        facts |= _density(line.density, line.density_of)
        charges = sorted(line.shares.all(), key=lambda share: share.charge.position)
        parts = [self._money("goods", line.goods, "price - discount")]
        parts += [
            self._money(
                share.charge.kind,
                share.amount,
                f"share of {share.charge.amount:.2f} by {share.charge.spread_by}",
            )
            for share in charges
        ]
        how = "goods + charges, spread by largest remainder"
        return self._money("landed cost", line.landed_cost, how, parts, facts)

    def _money(
        self,
        name: str,
        amount: Decimal | None,
        how: str,
        parts: Sequence[Figure] = (),
        facts: Mapping[str, str] | None = None,
    ) -> Figure:
        return Figure(name, amount, self.currency, how, facts or {}, tuple(parts))


def _yielded(making: Making, yielded: BatchYield) -> Iterable[Figure]:
    facts = {"weighed": f"{making.weighed_grams:f} g", "output": f"{making.output_grams:f} g"}
    yield Figure("yield_percent", yielded.yield_percent, "%", "output ÷ all weighed in", facts)
    yield Figure("plan_percent", yielded.plan_percent, "%", "output ÷ planned output")
    loss = f"weighed · {making.process_loss_percent.normalize():f} %"
    yield Figure("expected_grams", yielded.expected_grams, "g", loss)
    yield Figure("actual_grams", yielded.actual_grams, "g", "weighed - output - declared")
    yield Figure("beyond_grams", yielded.beyond_grams, "g", "actual - expected, or nothing")


def _declared(making: Making) -> dict[str, str]:
    if not making.declared_grams:
        return {}
    return {"declared": f"{making.declared_grams:f} g", "reason": making.declared_reason}


def _density(density: Decimal | None, origin: str) -> dict[str, str]:
    if density is None:
        return {}
    return {"density": f"{density.normalize():f} g/mL", "density_of": origin}
