"""A maker of the demo at work: receiving, making, selling, by the verbs of real work."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db import connection

from formulas.alternates import AlternateDraft
from formulas.batches import Size, plan_batch
from formulas.checks import check_batch
from formulas.composing import write_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.demo.history import Beside, Delivery, Made
from formulas.demo.recipes import (
    HOURLY_RATE,
    OVERHEAD_PER_BATCH,
    PH_LIMITS,
    PRODUCTS,
    RECIPES,
    Amount,
    ProductOf,
    RecipeOf,
)
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.drawing import Sample
from formulas.filling import Filled, fill
from formulas.finishing import finish
from formulas.judging import Measure, read_window
from formulas.measurements import record_measurement
from formulas.models import BatchCheck
from formulas.outcomes import AbnormalLoss
from formulas.planning import Planned, PlannedLine
from formulas.products import PackagingDraft, ProductDraft, add_product
from formulas.reworking import rework
from formulas.weighing import weigh
from ledger.access import Actor, set_walls
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.issuing import Moved, Taken, sell
from ledger.models import Lot
from ledger.ordering import Ordered, write_order
from ledger.quantities import Quantity, parse_density, parse_quantity
from ledger.receiving import Delivered, receive

Result = TypeVar("Result")
RETAINED: Final = Sample(parse_quantity("1 each"), "retained", "retained")
# What a scale shows is off by a gram or two where it weighs by the kilogram.
HEAVY: Final = Decimal(500)
# So few units of a lot sell out in a day.
LAST_FEW: Final = 4


@dataclass(frozen=True, slots=True)
class Written:
    """An order, and its lines as they were written."""

    order: UUID
    lines: list[str]


@dataclass
class Bench:
    """One maker, acted for by its owner. What is named stands under the names of the data."""

    actor: Actor
    today: date
    chance: Random
    materials: dict[str, UUID]
    suppliers: dict[str, UUID]
    # What a meter shows has a chance of its own, so that one reading more changes nothing else.
    meters: Random = field(default_factory=lambda: Random(0))  # noqa: S311 - no secret either
    formulas: dict[str, UUID] = field(default_factory=dict)
    products: dict[str, UUID] = field(default_factory=dict)
    lots: dict[str, list[Lot]] = field(default_factory=lambda: defaultdict(list))
    unsold: dict[UUID, int] = field(default_factory=dict)
    # Lots of which some lie at a shop, the latest last.
    at_shop: list[UUID] = field(default_factory=list)
    # The batches of a product or formula that were finished, the latest last.
    batches: dict[str, list[UUID]] = field(default_factory=lambda: defaultdict(list))
    orders: dict[Delivery, Written] = field(default_factory=dict)

    def does(self, verb: Callable[..., Result], *args: Any, **facts: Any) -> Result:
        """One verb, within the maker's walls.

        What waits for the end of a transaction is checked here, while these walls stand.
        """
        set_walls(self.actor.coop_id, self.actor.maker_id)
        result = verb(self.actor, *args, **facts)
        connection.check_constraints()
        return result

    def day(self, days_ago: int) -> date:
        """A day of the quarter."""
        return self.today - timedelta(days=days_ago)

    def at(self, days_ago: int, hour: int, minute: int = 0) -> datetime:
        """A moment of the quarter; the co-op's time zone is UTC."""
        return datetime.combine(self.day(days_ago), time(hour, minute), UTC)

    def write_formula(self, key: str, recipe: RecipeOf) -> None:
        """Write one of the maker's formulas."""
        self.formulas[key] = self.does(write_formula, self.draft(recipe)).formula_id

    def draft(self, recipe: RecipeOf) -> Draft:
        """A version as the maker writes it."""
        phases = [
            PhaseDraft(
                name,
                [self._line_of(recipe, what, amount) for what, amount in lines.items()],
            )
            for name, lines in recipe.phases.items()
        ]
        return Draft(
            name=recipe.name,
            phases=phases,
            process_loss_percent=Decimal(recipe.loss) if recipe.loss else None,
            infusion=recipe.infusion,
            rework_max_percent=Decimal(recipe.rework) if recipe.rework else None,
            density=parse_density(recipe.density, "20 degC") if recipe.density else None,
            shelf_life_days=recipe.shelf_life_days,
            windows=[read_window(Measure.PH, **PH_LIMITS)] if recipe.ph else [],
        )

    def add_product(self, key: str, product: ProductOf) -> None:
        """Add one of the maker's products."""
        draft = ProductDraft(
            name=product.name,
            formula=self.formulas[product.formula],
            nominal=parse_quantity(product.nominal),
            overfill_percent=Decimal(product.overfill),
            packaging=[
                PackagingDraft(self.materials[name], parse_quantity("1 each"))
                for name in product.packaging
            ],
            minutes_per_batch=Decimal(product.minutes_per_batch),
            minutes_per_unit=Decimal(product.minutes_per_unit),
            hourly_rate=Decimal(HOURLY_RATE),
            overhead_per_batch=Decimal(OVERHEAD_PER_BATCH),
        )
        self.products[key] = self.does(add_product, draft).id

    def order(self, delivery: Delivery) -> None:
        """Order what comes later, line by line as it will come."""
        order = self.does(
            write_order,
            supplier=self.suppliers[delivery.supplier],
            lines=[
                Ordered(
                    material=str(self.materials[bought.material]),
                    pack=parse_quantity(bought.quantity),
                    price=Decimal(bought.price),
                )
                for bought in delivery.lines
            ],
            happened_at=self.at(delivery.days_ago + delivery.ordered, 14),
            note="by telephone",
        )
        lines = order.lines.order_by("position").values_list("id", flat=True)
        self.orders[delivery] = Written(order.id, [str(id) for id in lines])

    def receive(self, delivery: Delivery) -> None:
        """Take a delivery in."""
        arrived = self.day(delivery.days_ago)
        number = 1000 + 7 * delivery.days_ago
        written = self.orders.get(delivery)
        lines = [
            Delivered(
                material=str(self.materials[bought.material]),
                supplier_lot=f"{arrived:%y%m}-{number + place}",
                quantity=parse_quantity(bought.quantity),
                price=Decimal(bought.price),
                expires_on=None if bought.keeps is None else arrived + timedelta(bought.keeps),
                order_line=None if written is None else written.lines[place],
            )
            for place, bought in enumerate(delivery.lines)
        ]
        freight = Charge(
            ChargeKind.FREIGHT, Decimal(delivery.freight), SpreadBy(delivery.spread_by)
        )
        received = self.does(
            receive,
            supplier=self.suppliers[delivery.supplier],
            lines=lines,
            charges=[freight],
            happened_at=self.at(delivery.days_ago, 8, 30),
            release_basis=delivery.basis or None,
            reference=f"delivery note {number}",
            order=None if written is None else written.order,
        )
        for bought, lot in zip(delivery.lines, received.lots, strict=True):
            self.lots[bought.material].append(lot)

    def plan(self, what: str, size: int | str, day: date) -> Planned:
        """Plan units of a product, or so much of a formula."""
        if isinstance(size, int):
            named = {"product": self.products[what], "size": Size(units=size)}
        else:
            named = {"formula": self.formulas[what], "size": Size(batch=parse_quantity(size))}
        return self.does(plan_batch, planned_for=day, **named)

    def make(self, made: Made) -> None:
        """Make a batch in a day: plan in the morning, weigh, finish in the afternoon."""
        planned = self.plan(made.what, made.size, self.day(made.days_ago))
        if self._measures(made.what):
            self._started(planned.batch.id, made)
        for place, line in enumerate(planned.lines):
            self._weigh(planned, line, self.at(made.days_ago, 10, 5 * place), made.without_release)
        for beside in made.beside:
            self._put_in(planned.batch.id, beside, self.at(made.days_ago, 14))
        if self._measures(made.what):
            self._measure(planned.batch.id, made)
        output, units = self._outcome(planned, made)
        done = self.does(
            finish,
            batch=planned.batch.id,
            output=output,
            units=units,
            happened_at=self.at(made.days_ago, 16),
            samples=[RETAINED] if units else [],
            abnormal_loss=AbnormalLoss(parse_quantity(made.lost), made.because)
            if made.lost
            else None,
            release_basis="looks and smells right; pH and weight within limits",
        )
        self.batches[made.what].append(planned.batch.id)
        self._put_up(made.what, done.lot, units)

    def fill(self, product: str, bulk: Lot, units: int, days_ago: int) -> Filled:
        """Fill units from bulk that was made on another day."""
        filled = self.does(
            fill,
            product=self.products[product],
            lot=bulk.id,
            units=units,
            happened_at=self.at(days_ago, 11),
            samples=[RETAINED],
            release_basis="weights within limits",
        )
        self._put_up(product, filled.lot, units)
        return filled

    def market(self, days_ago: int) -> None:
        """Sell a part of every lot of products at the weekly market."""
        lines = []
        for lot, left in self.unsold.items():
            share = left * self.chance.randint(15, 35) // 100
            if sold := share if left > LAST_FEW else left:
                lines.append((lot, sold))
        if lines:
            week = self.day(days_ago).isocalendar().week
            self.sell(lines, f"market stall, week {week}", self.at(days_ago, 17))

    def sell(self, lines: Sequence[tuple[UUID, int]], customer: str, moment: datetime) -> Moved:
        """Sell so many units of each lot."""
        sale = self.does(
            sell,
            lines=[Taken(lot, parse_quantity(f"{units} each")) for lot, units in lines],
            customer=customer,
            happened_at=moment,
        )
        for lot, units in lines:
            self.unsold[lot] -= units
        return sale

    def _line_of(self, recipe: RecipeOf, what: str, amount: Amount) -> LineDraft:
        others = [AlternateDraft(self.materials[name]) for name in recipe.stand_ins.get(what, ())]
        return replace(self._line(what, amount), spent=what == recipe.spent, alternates=others)

    def _line(self, what: str, amount: Amount) -> LineDraft:
        share: Fixed | ToEffect | Balance
        if isinstance(amount, tuple):
            share = ToEffect(*(Decimal(percent) for percent in amount))
        else:
            share = Balance() if amount == "balance" else Fixed(Decimal(amount))
        if what in self.formulas:
            return LineDraft(share, formula=self.formulas[what])
        return LineDraft(share, material=self.materials[what])

    def _weigh(
        self, planned: Planned, line: PlannedLine, moment: datetime, without_release: str
    ) -> None:
        """Weigh a line from the lots picked, and what they lack from the latest, not released."""
        pours: list[tuple[UUID | None, Decimal, str]] = [
            (pick.lot_id, pick.quantity, "") for pick in line.picks
        ]
        if line.line.short:
            if not without_release:
                name, short = line.line.material.name, line.line.short
                raise RuntimeError(f"The demo lacks {short} g of {name} on {moment.date()}.")
            lot = self._latest_of(line.line.material_id)
            pours.append((lot, line.line.short, without_release))
        if not line.line.material.stocked:
            pours.append((None, line.line.grams, ""))
        for lot_id, grams, deviation in pours:
            heavy = grams >= HEAVY
            shown = grams - self.chance.randint(0, 2) if heavy else grams
            self.does(
                weigh,
                batch=planned.batch.id,
                line=line.line.id,
                lot=lot_id,
                quantity=parse_quantity(f"{shown:f} g"),
                happened_at=moment,
                deviation=deviation,
            )

    def _put_in(self, batch: UUID, beside: Beside, moment: datetime) -> None:
        """Something that the formula does not list, out of its latest lot."""
        facts = {
            "batch": batch,
            "lot": self.lots[beside.what][-1].id,
            "quantity": parse_quantity(beside.quantity),
            "happened_at": moment,
        }
        if beside.rework:
            self.does(rework, approval=beside.why, **facts)
        else:
            self.does(weigh, deviation=beside.why, **facts)

    def _measures(self, what: str) -> bool:
        """Whether the formula of it has limits to measure by."""
        return RECIPES[PRODUCTS[what].formula if what in PRODUCTS else what].ph

    def _started(self, batch: UUID, made: Made) -> None:
        """The place is looked at before the first line."""
        moment = self.at(made.days_ago, 9, 30)
        about = {"kind": BatchCheck.Kind.START_UP, "subject": "kettle and bench"}
        self.does(check_batch, batch=batch, passed=True, happened_at=moment, now=moment, **about)

    def _measure(self, batch: UUID, made: Made) -> None:
        """Its pH, after the acid."""
        tenths = self.meters.randint(50, 55)
        self.does(
            record_measurement,
            batch=batch,
            measure=Measure.PH,
            value=f"{tenths // 10}.{tenths % 10}",
            at="22 degC",
            happened_at=self.at(made.days_ago, 15),
        )

    def _latest_of(self, material: UUID) -> UUID:
        lots = [lot for rows in self.lots.values() for lot in rows if lot.material_id == material]
        latest: UUID = lots[-1].id
        return latest

    def _outcome(self, planned: Planned, made: Made) -> tuple[Quantity, int | None]:
        """What comes out: as planned, but for a unit or two, or a percent of bulk."""
        batch = planned.batch
        lost = parse_quantity(made.lost).amount if made.lost else Decimal(0)
        if batch.units is None or batch.fill_grams is None:
            permille = self.chance.randint(985, 1003)
            more = sum(parse_quantity(one.quantity).amount for one in made.beside)
            grams = (batch.output_grams * permille / 1000 + more - lost).quantize(Decimal(1))
            return parse_quantity(f"{grams:f} g"), None
        units = batch.units - int(-(-lost // batch.fill_grams)) - self.chance.randint(0, 2)
        rest = batch.fill_grams * self.chance.randint(0, 40) / 100
        grams = (batch.fill_grams * units + rest).quantize(Decimal("0.1"))
        return parse_quantity(f"{grams:f} g"), units

    def _put_up(self, what: str, lot: Lot, units: int | None) -> None:
        self.lots[what].append(lot)
        if units:
            self.unsold[lot.id] = units - 1
