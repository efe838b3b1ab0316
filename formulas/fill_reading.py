"""What stands around filling: bulk that waits, what weighed units say, and how past batches came
out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Lower

from formulas.access import fills_of, standing
from formulas.fill_targets import Giveaway
from formulas.finishing import yield_of
from formulas.models import (
    Batch,
    Filling,
    Line,
    Making,
    NetContents,
    Product,
    UnitWeighing,
    Weighing,
)
from formulas.net_contents import Limits
from formulas.unit_weighings import (
    Checked,
    FilledUnits,
    check,
    limits_in_grams,
    limits_kept,
    limits_now,
    unit_weighings_of,
    units_in_a_year,
)
from ledger.access import Actor
from ledger.models import Account, Custody, Holding
from ledger.roles import Verb

if TYPE_CHECKING:
    from django.db.models import QuerySet

MOST_PAST: Final = 12
MOST_WEIGHINGS: Final = 6


@dataclass(frozen=True, slots=True)
class Bulk:
    """A finish that made bulk of which there is some in store, in grams, and how its lot stands.

    `product` says whether any product of the maker is filled from it.
    """

    making: Making
    left: Decimal
    status: str
    product: bool


@dataclass(frozen=True, slots=True)
class PastYield:
    """What one finished batch of a formula yielded, of all that was weighed in and of its plan."""

    batch: UUID
    code: str
    on: date
    yield_percent: Decimal
    plan_percent: Decimal


@dataclass(frozen=True, slots=True)
class UnitsSeen:
    """Units of a lot with the rule of their product and what the latest weighing of them says.

    `limits` are those of the latest weighing, in grams: by the rule as it was then, or as it is
    `now` where it was chosen since. Before the first weighing those that the rule has now, in the
    unit of the fill.
    """

    of: FilledUnits
    rule: NetContents | None
    limits: Limits | None
    now: Limits | None
    checked: Checked | None
    weighings: Sequence[UnitWeighing]
    year_units: int

    @property
    def chosen_since(self) -> bool:
        """Whether what was weighed is judged by a rule that was chosen only afterwards."""
        return self.checked is not None and self.limits is not None and not self.checked.row.rule

    @property
    def changed_since(self) -> bool:
        """Whether what was weighed would be judged otherwise by the rule as it is now."""
        kept, now = self.limits, self.now
        if self.checked is None or kept is None or now is None:
            return False
        return (kept.rule, kept.short, kept.least) != (now.rule, now.short, now.least)

    @property
    def each(self) -> Giveaway | None:
        """What the mean of the weighed units gives away of one."""
        if self.checked is None:
            return None
        return Giveaway(self.checked.batch.per_unit, 1, self.of.value_per_gram)


def bulk_waiting(actor: Actor, *, limit: int = 40) -> list[Bulk]:
    """Bulk in store that waits to be filled, the newest first.

    What goes into other formulas as they are in force waits for those, unless a product is filled
    from it as well. In one query. Raises Forbidden.
    """
    actor.must(Verb.READ)
    of_lot = {"coop_id": actor.coop_id, "maker_id": actor.maker, "lot_id": OuterRef("lot_id")}
    held = Holding.objects.filter(**of_lot, kind=Account.Kind.STORE, any_left=True)
    filled = Product.objects.filter(
        maker_id=actor.maker, formula_id=OuterRef("batch__version__formula_id")
    )
    in_force = Line.objects.filter(version__number=F("version__formula__version"))
    within = in_force.filter(
        maker_id=actor.maker, component_id=OuterRef("batch__version__formula_id")
    )
    rows: QuerySet[Any] = (
        Making.objects.select_related("batch__version__formula", "lot")
        .filter(maker_id=actor.maker, units__isnull=True, batch__making=F("id"))
        .annotate(
            product=Exists(filled),
            left=Subquery(held.values("quantity")[:1]),
            status=Subquery(Custody.objects.filter(**of_lot).values("status")),
        )
        .filter(Q(product=True) | ~Exists(within), left__gt=0)
    )
    return [Bulk(row, row.left, row.status, row.product) for row in rows.order_by("-id")[:limit]]


def fills_from(actor: Actor, lot: UUID, *, limit: int = 20) -> "Sequence[Any]":
    """The fills out of a lot of bulk, the newest first. Raises Forbidden."""
    rows = fills_of(actor).select_related("product").filter(bulk_lot_id=lot)
    return list(rows.order_by("-id")[:limit])


def latest_fills(actor: Actor, *, limit: int = 40) -> "Sequence[Any]":
    """The maker's fills with their product, the newest first. Raises Forbidden."""
    return list(fills_of(actor).select_related("product").order_by("-id")[:limit])


def batch_of_fill(actor: Actor, filling: Filling) -> tuple[UUID, UUID] | None:
    """The batch that made a fill's bulk, and its formula; None for bulk that no batch made."""
    rows = Making.objects.filter(
        maker_id=actor.maker, lot_id=filling.bulk_lot_id, batch__making=F("id")
    )
    return rows.values_list("batch_id", "batch__version__formula_id").first()


def past_yields(actor: Actor, formula: UUID, *, limit: int = MOST_PAST) -> list[PastYield]:
    """The last finished batches of a formula that stand, the oldest first. In one query.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    rows = Making.objects.select_related("entry", "batch__version").filter(
        maker_id=actor.maker, batch__version__formula_id=formula, batch__making=F("id")
    )
    found = []
    for row in rows.order_by("-happened_at", "-id")[:limit]:
        told = yield_of(row, row.batch)
        on = row.entry.happened_on
        found.append(
            PastYield(row.batch_id, row.batch.code, on, told.yield_percent, told.plan_percent)
        )
    return found[::-1]


def weighed_by_material(actor: Actor, batch: Batch) -> list[tuple[UUID, str, Decimal]]:
    """What was weighed into a batch and counts, by the material, with its name. In one query.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    rows = standing(Weighing.objects.filter(maker_id=actor.maker, batch=batch))
    named = rows.values_list("lot__material_id", "lot__material__name")
    return list(named.annotate(grams=Sum("quantity")).order_by("lot__material__name"))


def units_seen(actor: Actor, of: FilledUnits, *, now: datetime) -> UnitsSeen:
    """Units with what was weighed of them, in a fixed number of queries. Raises Forbidden."""
    actor.must(Verb.READ)
    rule = NetContents.objects.filter(maker_id=actor.maker, product=of.product).first()
    year = units_in_a_year(actor, of.product, now)
    rows = list(
        unit_weighings_of(actor, of).select_related("product").order_by("-id")[:MOST_WEIGHINGS]
    )
    if not rows:
        limits = limits_in_grams(of.product, rule, None)
        return UnitsSeen(of, rule, limits, limits, None, rows, year)
    by_now = limits_now(rows[0], of.product, rule)
    checked = check(rows[0], of, year, by_now)
    return UnitsSeen(of, rule, limits_kept(rows[0]) or by_now, by_now, checked, rows, year)


def products_from(actor: Actor, formula: UUID) -> "QuerySet[Product]":
    """The products that are filled with a formula, by name. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = Product.objects.filter(maker_id=actor.maker, formula_id=formula)
    return rows.order_by(Lower("name"), "id")
