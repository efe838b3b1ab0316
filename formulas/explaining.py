"""The working of a batch or a lot: from each figure down to lots, densities, charges and people."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Final
from uuid import UUID

from formulas.access import id_of
from formulas.beside_figures import PARTS, abnormal_way, beside_of, total_way, unit_way
from formulas.costing import BatchCost, BatchYield
from formulas.filling import total_of
from formulas.finishing import cost_of, yield_of
from formulas.later_bills import LaterBill, later_bills_of
from formulas.later_counts import LaterCount, later_counts_of
from formulas.models import Batch, Filling, Making, Weighing
from formulas.origins import Origin
from formulas.steeping import steeped_of
from formulas.workings import Known, known_of_batch, known_of_lot
from ledger.access import Actor, lot_for
from ledger.errors import Sentence
from ledger.models import LayerPosting, Lot, Posting, ReceiptLine
from ledger.quantities import kept_in
from ledger.roles import Verb

LABOUR: Final = "(minutes per batch + minutes per unit · units) · hourly rate ÷ 60"
LABOUR_RECORDED: Final = "minutes that it took · hourly rate ÷ 60"
ABOVE: Final = "Its working stands above."
OVERHEAD: Final = "sum per batch + percent of materials"


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


def explain(actor: Actor, batch: UUID | str) -> Figure:
    """The working of a finished or planned batch, as a tree. Raises NotFound, Forbidden."""
    actor.must(Verb.SEE_COSTS)
    id = id_of(batch)
    known = known_of_batch(actor, id)
    told, later = _Teller(actor.currency, known).batch(id), []
    if bills := later_bills_of(actor, id):
        later.append(_later(bills, actor.currency))
    if counts := later_counts_of(actor, known.batches[id]):
        later.append(_counted_later(counts, actor.currency))
    return replace(told, parts=(*told.parts, *later))


def explain_lot(actor: Actor, lot: UUID | str) -> Figure:
    """The working of what a lot cost: its receipt and charges, or the batch that made it.

    Raises NotFound, Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    found = lot_for(actor, lot)
    return _Teller(actor.currency, known_of_lot(actor, found.id)).origin(found.id)


class _Teller:
    """Tells what was loaded as figures. A batch, or what came in a delivery, is told in full once,
    and by its code after."""

    def __init__(self, currency: str, known: Known) -> None:
        self.currency = currency
        self.known = known
        self.told: set[UUID] = set()
        self.tellers = {
            "by_product": self._by_product,
            "joint_product": self._joint_product,
            "emptying": self._emptied,
            "decanted": self._decanted,
            "moved": self._moved,
        }

    def batch(self, id: UUID) -> Figure:
        batch = self.known.batches[id]
        facts = {
            "batch": batch.code,
            "formula": batch.version.formula.name,
            "version": str(batch.version.number),
        }
        name, making = Sentence("batch {code}", code=batch.code), batch.making
        if id in self.told:
            return Figure(name, facts=facts, how=ABOVE)
        self.told.add(id)
        if making is None:
            return Figure(name, facts=facts, parts=self._weighings(batch))
        facts |= {"finished_at": making.happened_at.isoformat(), "by": making.person.username}
        cost, yielded = cost_of(making), yield_of(making, batch)
        return Figure(
            name,
            facts=facts,
            parts=(*self._cost(batch, making, cost), *_yielded(batch, making, yielded)),
        )

    def _cost(self, batch: Batch, making: Making, cost: BatchCost) -> Iterable[Figure]:
        inputs = self._money(
            "inputs",
            cost.inputs,
            "materials + packaging + labour + overhead",
            parts=(
                self._money("materials", cost.materials, "all weighings", self._weighings(batch)),
                self._money(
                    "packaging",
                    cost.packaging,
                    "drawn at finish",
                    self._drawn(self.known.drawn.get(making.entry_id, ())),
                ),
                self._money("labour", cost.labour, _labour_how(making), facts=_labour(making)),
                self._money("overhead", cost.overhead, OVERHEAD, facts=_overhead(making)),
            ),
        )
        abnormal = self._money(
            "abnormal", cost.abnormal, abnormal_way(making), facts=_declared(making)
        )
        beside = [
            self._money(one.name, one.value, one.how, facts=one.facts) for one in beside_of(making)
        ]
        yield self._money("total", cost.total, total_way(making), [inputs, *beside, abnormal])
        yield self._money("per_kg", cost.per_kg, "(total - packaging) ÷ output")
        if cost.per_unit is not None:
            yield self._money("per_unit", cost.per_unit, unit_way(making))

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
        if row.overrode:
            facts["overrode"] = ", ".join(row.overrode)
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

    def _drawn(self, rows: Iterable[Posting]) -> tuple[Figure, ...]:
        """Packaging out of the store."""
        return tuple(
            self._money(
                row.lot.material.name,
                -row.value,
                "taken from the cost layers",
                self._layers(row.entry_id, (row.line + 1) // 2),
                {"lot": row.lot.code, "count": f"{-row.quantity:f}"},
            )
            for row in rows
        )

    def _layers(self, entry_id: UUID, line: int) -> tuple[Figure, ...]:
        return tuple(self._layer(row) for row in self.known.layers.get((entry_id, line), ()))

    def _layer(self, row: LayerPosting) -> Figure:
        facts = {"quantity": f"{-row.quantity:f}"}
        if row.layer.lot_id is not None:
            origin = self.origin(row.layer.lot_id)
            code = self.known.lots[row.layer.lot_id].code
            how: str = Sentence("the part of lot {code} that was taken", code=code)
            return self._money("layer", -row.value, how, (origin,), facts)
        received = self.known.received[row.layer_id, row.entry_id]
        parts = tuple(self.origin(lot) for lot in dict.fromkeys(received))
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
        for kind, tell in self.tellers.items():
            if rows := self.known.origins.get((kind, lot_id)):
                return tell(rows, facts)
        if not lot.material.stocked:
            facts["cost_per_kg"] = f"{lot.material.cost_per_kg or 0:f}"
            return Figure("not stocked", facts=facts, how=lot.material.cost_source)
        return Figure("opening stock", facts=facts, how="valued when the books began")

    def _by_product(self, rows: Sequence[Origin], facts: dict[str, str]) -> Figure:
        ((facts["batch"],), (nrv,)) = rows[0].words, rows[0].figures
        return self._money("by-product", nrv, "net realisable value", facts=facts)

    def _joint_product(self, rows: Sequence[Origin], facts: dict[str, str]) -> Figure:
        row = rows[0]
        (facts["batch"], base), (value,) = row.words, row.figures
        return self._money("joint product", value, PARTS[base], self._of(row), facts)

    def _decanted(self, rows: Sequence[Origin], facts: dict[str, str]) -> Figure:
        row = rows[0]
        drawn, heel, share = row.figures
        facts |= {"entered": row.words[0], "drawn": f"{drawn:f}", "heel": f"{heel:f}"}
        how = "its part of what all that was drawn carries, the heel included"
        return self._money("decanted", share, how, self._of(row), facts)

    def _moved(self, rows: Sequence[Origin], facts: dict[str, str]) -> Figure:
        facts["from"] = ", ".join(dict.fromkeys(row.words[0] for row in rows))
        owed = sum((row.figures[0] for row in rows), Decimal(0))
        return self._money("moved", owed, "agreed with whoever gave it", facts=facts)

    def _emptied(self, rows: Sequence[Origin], facts: dict[str, str]) -> Figure:
        row = rows[0]
        units, grams, expensed, bulk = row.figures
        facts |= {
            "units": f"{units:f}",
            "grams": f"{grams:f}",
            "expensed": f"{expensed:f}",
            "reason": row.words[0],
        }
        how = "the bulk's part of what the units cost"
        return self._money("emptied", bulk, how, self._of(row), facts)

    def _of(self, row: Origin) -> tuple[Figure, ...]:
        """Where the lot came from of which this one was taken."""
        return () if row.of is None else (self.origin(row.of),)

    def _filled(self, filling: Filling, facts: dict[str, str]) -> Figure:
        facts |= {"units": str(filling.units), "used": f"{filling.used_grams:f} g"}
        if filling.deviation:
            facts["deviation"] = filling.deviation
        drawn = self.known.drawn.get(filling.entry_id, ())
        packaging = [row for row in drawn if row.lot_id != filling.bulk_lot_id]
        parts = (
            self._money(
                "bulk",
                filling.bulk,
                "taken from the cost layers",
                self._layers(filling.entry_id, 1),
            ),
            self._money("packaging", filling.packaging, "drawn at filling", self._drawn(packaging)),
            self._money("labour", filling.labour, LABOUR, facts=_labour(filling)),
        )
        return self._money("filled", total_of(filling), "bulk + packaging + labour", parts, facts)

    def _received(self, line: ReceiptLine, lot: Lot, facts: dict[str, str]) -> Figure:
        if lot.id in self.told:
            return self._money("landed cost", line.landed_cost, ABOVE, facts=facts)
        self.told.add(lot.id)
        unit = kept_in(lot.material.counted)
        facts |= {
            "supplier": lot.supplier.name if lot.supplier else "",
            "received_at": line.receipt.happened_at.isoformat(),
            "entered": line.entered,
            "quantity": f"{line.quantity:f} {unit}",
            "entry": str(line.receipt.entry_id),
        }
        facts |= _density(line.density, line.density_of)
        parts = [self._money("goods", line.goods, "price - discount")]
        for charge in self.known.origins.get(("charge", lot.id), ()):
            (kind, spread_by), (share, whole) = charge.words, charge.figures
            by = Sentence("share of {whole:.2f} by {spread_by}", whole=whole, spread_by=spread_by)
            parts.append(self._money(kind, share, by))
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


def _later(bills: Sequence[LaterBill], currency: str) -> Figure:
    """What came later, beside the cost: it changes nothing that was posted."""
    parts = tuple(
        Figure(
            one.bill.kind,
            one.amount,
            currency,
            "share of the bill by what the batch had used of the lot",
            {
                "lot": one.lot,
                "quantity": f"{one.quantity:f}",
                "bill": f"{one.bill.amount:f}",
                "reference": one.bill.reference,
                "entry": str(one.bill.entry_id),
            },
        )
        for one in bills
    )
    total = sum((one.amount for one in bills), Decimal(0))
    how = "differences of the period, beside the cost of the batch"
    return Figure("later bills", total, currency, how, parts=parts)


def _counted_later(counts: Sequence[LaterCount], currency: str) -> Figure:
    """What counts found later, beside the cost as well."""
    parts = tuple(
        Figure(
            one.cause.line.lot.code,
            one.amount,
            currency,
            "what was misbooked, at its cost",
            {
                "quantity": f"{one.quantity:f}",
                "reason": one.cause.reason,
                "entry": str(one.cause.entry_id),
            },
        )
        for one in counts
    )
    total = sum((one.amount for one in counts), Decimal(0))
    how = "differences of the period, beside the cost of the batch"
    return Figure("count differences", total, currency, how, parts=parts)


def _yielded(batch: Batch, making: Making, yielded: BatchYield) -> Iterable[Figure]:
    facts = {"weighed": f"{making.weighed_grams:f} g", "output": f"{making.output_grams:f} g"}
    yield Figure("yield_percent", yielded.yield_percent, "%", "output ÷ all weighed in", facts)
    yield Figure("plan_percent", yielded.plan_percent, "%", "output ÷ planned output")
    loss: str = Sentence("weighed · {percent:f} %", percent=making.process_loss_percent.normalize())
    steeping = {}
    found = steeped_of(making, batch.version)
    if found is not None:
        loss = "spent · (1 + retention) + weighed · evaporation"
        steeping = {
            "spent": f"{found.spent_grams:f} g",
            "expected_marc": f"{found.expected_marc_grams:f} g",
            "expected_evaporation": f"{found.expected_evaporation_grams:f} g",
        }
    yield Figure("expected_grams", yielded.expected_grams, "g", loss, steeping)
    yield Figure("actual_grams", yielded.actual_grams, "g", "weighed - output - declared")
    yield Figure("beyond_grams", yielded.beyond_grams, "g", "actual - expected, or nothing")


def _labour_how(making: Making) -> str:
    return LABOUR if making.labour_minutes is None else LABOUR_RECORDED


def _labour(row: Making | Filling) -> dict[str, str]:
    """The policy for labour as it was then."""
    facts = {
        "minutes_per_unit": f"{row.minutes_per_unit.normalize():f}",
        "units": str(row.units or 0),
        "hourly_rate": f"{row.hourly_rate.normalize():f}",
    }
    if isinstance(row, Making):
        facts["minutes_per_batch"] = f"{row.minutes_per_batch.normalize():f}"
        if row.labour_minutes is not None:
            facts["labour_minutes"] = f"{row.labour_minutes.normalize():f}"
    return facts


def _overhead(making: Making) -> dict[str, str]:
    """The policy for overhead as it was then."""
    return {
        "per_batch": f"{making.overhead_per_batch.normalize():f}",
        "percent_of_materials": f"{making.overhead_percent.normalize():f}",
    }


def _declared(making: Making) -> dict[str, str]:
    told = {"declared": f"{making.declared_grams:f} g", "reason": making.declared_reason}
    return told if making.declared_grams else {}


def _density(density: Decimal | None, origin: str) -> dict[str, str]:
    if density is None:
        return {}
    return {"density": f"{density.normalize():f} g/mL", "density_of": origin}
