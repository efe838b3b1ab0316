"""A workshop for tests: a maker in a co-op of its own, whose work is done by the real verbs."""

import itertools
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.contrib.auth import get_user_model
from django.db import connection

from formulas.batches import Size, plan_batch
from formulas.composing import new_version, write_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.drawing import Sample
from formulas.finishing import Finished, finish
from formulas.models import Batch, FormulaVersion, Product, Weighing
from formulas.outcomes import AbnormalLoss
from formulas.planning import Planned
from formulas.products import PackagingDraft, ProductDraft, add_product
from formulas.second_looks import look_again
from formulas.weighing import Weighed, weigh
from ledger.access import Actor, acting_as
from ledger.catalogue import MaterialFacts, add_material, add_supplier
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.lots import decide
from ledger.makers import actor_for, open_coop, open_maker
from ledger.models import Account, Coop, Holding, Lot, Material, Membership, Reservation
from ledger.quantities import parse_density, parse_quantity
from ledger.receiving import Delivered, receive

_numbers = itertools.count(1)
Result = TypeVar("Result")
# Long past, so that nothing a story does lies in the future.
MORNING = datetime(2025, 5, 6, 8, tzinfo=UTC)
TODAY = MORNING.date()
D = Decimal


def on(day: str, hour: int = 9) -> datetime:
    """A moment of a day, such as "2025-05-14"."""
    year, month, number = (int(part) for part in day.split("-"))
    return datetime(year, month, number, hour, tzinfo=UTC)


def named(what: Material | FormulaVersion, amount: str | ToEffect) -> LineDraft:
    """A line: "5" percent, "balance", or to effect."""
    share: Fixed | Balance | ToEffect
    if isinstance(amount, ToEffect):
        share = amount
    else:
        share = Balance() if amount == "balance" else Fixed(D(amount))
    if isinstance(what, FormulaVersion):
        return LineDraft(share, formula=what.formula_id)
    return LineDraft(share, material=what.id)


Lines = Sequence[tuple[Material | FormulaVersion, str | ToEffect]]


@dataclass(frozen=True)
class Workshop:
    """A maker with its owner, and the verbs with everyday defaults."""

    coop: Coop
    actor: Actor

    def does(self, verb: Callable[..., Result], *args: Any, **facts: Any) -> Result:
        """One verb in a transaction of its own, as a request has it."""
        with acting_as(self.actor):
            return verb(self.actor, *args, **facts)

    def material(self, name: str, *, density: str = "", **facts: Any) -> Material:
        """A material of the co-op, by mass unless said otherwise."""
        facts = {"measured_by": "mass", **facts}
        if density:
            facts["density"] = parse_density(density)
        return self.does(add_material, MaterialFacts(name=name, **facts))

    def water(self, **facts: Any) -> Material:
        """Water from the tap, which is not stocked."""
        return self.material("Aqua", stocked=False, density="1 g/mL", **facts)

    def receive(
        self,
        material: Material,
        quantity: str,
        price: str,
        *,
        at: datetime = MORNING,
        expires_on: date | None = None,
        retest_on: date | None = None,
        freight: str = "",
        density: str = "",
        release: str | None = "certificate seen",
    ) -> Lot:
        """One lot from a supplier."""
        supplier = self.does(add_supplier, name=f"Supplier {next(_numbers)}")
        line = Delivered(
            material=str(material.id),
            supplier_lot=f"S{next(_numbers)}",
            quantity=parse_quantity(quantity),
            price=D(price),
            expires_on=expires_on,
            retest_on=retest_on,
            density=parse_density(density) if density else None,
        )
        charges = [Charge(ChargeKind.FREIGHT, D(freight), SpreadBy.MASS)] if freight else []
        received = self.does(
            receive,
            supplier=supplier.id,
            lines=[line],
            charges=charges,
            happened_at=at,
            release_basis=release,
        )
        return received.lots[0]

    def draft(
        self,
        name: str,
        lines: Lines,
        *,
        loss: str = "0",
        density: str = "",
        shelf_life_days: int | None = None,
    ) -> Draft:
        """A version with all lines in one phase."""
        return Draft(
            name=name,
            phases=[PhaseDraft("A", [named(what, amount) for what, amount in lines])],
            process_loss_percent=D(loss),
            density=parse_density(density) if density else None,
            shelf_life_days=shelf_life_days,
        )

    def formula(self, name: str, lines: Lines, **facts: Any) -> FormulaVersion:
        """A formula with its first version."""
        return self.does(write_formula, self.draft(name, lines, **facts))

    def next_version(
        self, version: FormulaVersion, lines: Lines, *, expected: int | None = None, **facts: Any
    ) -> FormulaVersion:
        """The next version of a formula."""
        draft = self.draft(version.formula.name, lines, **facts)
        return self.does(
            new_version, formula=version.formula_id, expected_version=expected, draft=draft
        )

    def product(
        self,
        version: FormulaVersion,
        nominal: str,
        packaging: Sequence[tuple[Material, str]] = (),
        **facts: Any,
    ) -> Product:
        """A product of a formula."""
        draft = ProductDraft(
            name=f"{version.formula.name} {nominal}",
            formula=version.formula_id,
            nominal=parse_quantity(nominal),
            packaging=[
                PackagingDraft(material.id, parse_quantity(count)) for material, count in packaging
            ],
            **facts,
        )
        return self.does(add_product, draft)

    def plan(
        self,
        what: FormulaVersion | Product,
        size: str | int,
        *,
        planned_for: date = TODAY,
    ) -> Planned:
        """A batch of so many units of a product, or of so much weighed in."""
        if isinstance(what, Product):
            return self.does(
                plan_batch,
                product=what.id,
                size=Size(units=int(size)),
                planned_for=planned_for,
            )
        return self.does(
            plan_batch,
            formula=what.formula_id,
            size=Size(batch=parse_quantity(str(size))),
            planned_for=planned_for,
        )

    def weigh(
        self, planned: Planned, place: int, lot: Lot | None, grams: str, **facts: Any
    ) -> Weighed:
        """So much of a lot for the line at a place."""
        facts = {"happened_at": MORNING, **facts}
        return self.does(
            weigh,
            batch=planned.batch.id,
            line=planned.lines[place].line.id,
            lot=lot and lot.id,
            quantity=parse_quantity(grams),
            **facts,
        )

    def lot_of(self, planned: Planned, place: int) -> Lot:
        """The lot that was picked first for the line at a place."""
        with acting_as(self.actor):
            return Lot.objects.get(id=planned.lines[place].picks[0].lot_id)

    def weigh_all(self, planned: Planned, *, at: datetime = MORNING) -> None:
        """Everything as planned, from the lots that were picked."""
        for planned_line in planned.lines:
            pours = [(pick.lot_id, pick.quantity) for pick in planned_line.picks]
            if not planned_line.line.material.stocked:
                pours = [(None, planned_line.line.grams)]  # type: ignore[list-item]
            for lot, grams in pours:
                self.does(
                    weigh,
                    batch=planned.batch.id,
                    line=planned_line.line.id,
                    lot=lot,
                    quantity=parse_quantity(f"{grams:f} g"),
                    happened_at=at,
                )

    def look_again(self, planned: Planned) -> None:
        """Somebody else looks at every weighing."""
        person = get_user_model().objects.create_user(f"helper-{uuid.uuid4().hex[:12]}")
        helper = replace(self.actor, person_id=person.pk)
        with acting_as(helper):
            for weighing in Weighing.objects.filter(batch=planned.batch):
                look_again(helper, batch=planned.batch.id, weighing=weighing.id, now=MORNING)

    def finish(
        self,
        planned: Planned,
        output: str,
        *,
        at: datetime = MORNING,
        lost: str = "",
        samples: Sequence[str] = (),
        release: str | None = "looks and smells right",
        **facts: Any,
    ) -> Finished:
        """A batch finished and released."""
        return self.does(
            finish,
            batch=planned.batch.id,
            output=parse_quantity(output),
            happened_at=at,
            samples=[Sample(parse_quantity(text), "retained") for text in samples],
            abnormal_loss=AbnormalLoss(parse_quantity(lost), "split") if lost else None,
            release_basis=release,
            **facts,
        )

    def made_lot(self, version: FormulaVersion, grams: str, *, at: datetime = MORNING) -> Lot:
        """A lot of an intermediate, made of what is in store; as much comes out as went in."""
        planned = self.plan(version, f"{grams} g", planned_for=at.date())
        self.weigh_all(planned, at=at)
        return self.finish(planned, f"{grams} g", at=at).lot

    def decide(self, lot: Lot, decision: str) -> None:
        """Release, reject or hold a lot."""
        self.does(decide, lot=lot.id, decision=decision, basis="seen at the bench")

    def held(self, lot: Lot, kind: Account.Kind = Account.Kind.STORE) -> tuple[Any, Any]:
        """Quantity and value of a lot in accounts of a kind."""
        with acting_as(self.actor):
            rows = Holding.objects.filter(lot=lot, kind=kind)
            quantities, values = [row.quantity for row in rows], [row.value for row in rows]
        return sum(quantities, D(0)), sum(values, D(0))

    def reserved(self, lot: Lot) -> Any:
        """How much of a lot is promised."""
        with acting_as(self.actor):
            return sum((r.quantity for r in Reservation.objects.filter(lot=lot)), D(0))

    def batch(self, planned: Planned) -> Batch:
        """The batch as it is now."""
        with acting_as(self.actor):
            return Batch.objects.get(id=planned.batch.id)

    def disagreements(self) -> list[Any]:
        """What the ledger's own check finds wrong."""
        with acting_as(self.actor), connection.cursor() as cursor:
            cursor.execute("select * from ledger_disagreements()")
            return list(cursor.fetchall())


def open_workshop(name: str = "North Bench", *, coop: Coop | None = None) -> Workshop:
    """Open a maker in `coop`, or in a new one."""
    owner = get_user_model().objects.create(username=f"owner-{uuid.uuid4()}")
    if coop is None:
        coop_name = f"Harbour Makers {uuid.uuid4().hex[:8]}"
        coop = open_coop(name=coop_name, currency="USD", time_zone="UTC", coordinator=owner)
    maker = open_maker(coop=coop, name=name, owner=owner)
    return Workshop(coop, actor_for(coop, maker.id, owner.pk, Membership.Role.OWNER))


@dataclass(frozen=True)
class Shelf:
    """Three lots of one material, costed by lot, and a formula of nothing else."""

    material: Material
    lots: tuple[Lot, Lot, Lot]
    formula: FormulaVersion


def fill_shelf(shop: Workshop) -> Shelf:
    """900 g to 10 May at 11.40 a kilogram, 1,450 g to 30 June at 12.10, 2,600 g at 12.90."""
    material = shop.material("Coco-Glucoside", cost_formula="lot")
    lots = (
        shop.receive(material, "900 g", "10.26", expires_on=date(2025, 5, 10)),
        shop.receive(material, "1450 g", "17.55", expires_on=date(2025, 6, 30)),
        shop.receive(material, "2600 g", "33.54"),
    )
    return Shelf(material, lots, shop.formula("Base", [(material, "100")]))
