"""The lowest fill of a product that keeps its rule, against the present one."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import F

from formulas.access import fills_of
from formulas.containers import room_for, room_of_product
from formulas.errors import RuleMissing, SpreadMissing
from formulas.fill_targets import Giveaway, Target, above, keeps, lowest_target, percent_above
from formulas.finishing import cost_of
from formulas.label_volumes import (
    density_lacking,
    for_labels,
    holds_at_20,
    label_density,
    nominal_of,
)
from formulas.models import Making, NetContents, Product, UnitWeighing
from formulas.net_contents import Limits
from formulas.scaling import fill_of_mass
from formulas.unit_weighings import (
    FilledUnits,
    limits_in_grams,
    mass_of,
    net_contents_of,
    units_in_a_year,
)
from ledger.access import Actor
from ledger.costing import GRAMS_PER_KG
from ledger.errors import Invalid
from ledger.measuring import density_of
from ledger.models import Lot
from ledger.quantities import Density, Quantity
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Fill:
    """Filling to so many grams: the percent above nominal, a batch of it, and what it gives away.

    `keeps` says whether the rule is kept at the spread that was stated.
    """

    percent: Decimal
    grams: Decimal
    keeps: bool
    giveaway: Giveaway


@dataclass(frozen=True, slots=True)
class TargetOf:
    """A product's lowest fill, the present one, and perhaps another that was asked for."""

    product: Product
    limits: Limits
    deviation: Decimal
    deviation_from: UnitWeighing | None
    units: int
    year_units: int
    target: Target
    lowest: Fill
    now: Fill
    asked: Fill | None
    density: Density | None
    room_ml: Decimal | None

    def saved(self, fill: Fill) -> tuple[Giveaway, Giveaway]:
        """What a fill saves against the present one: of a batch, and of a year's units."""
        less, value = self.now.grams - fill.grams, fill.giveaway.value_per_gram
        return Giveaway(less, self.units, value), Giveaway(less, self.year_units, value)


def fill_target(
    actor: Actor,
    *,
    product: UUID | str,
    now: datetime,
    units: int | None = None,
    deviation: Quantity | None = None,
    density: Density | None = None,
    overfill_percent: Decimal | None = None,
) -> TargetOf:
    """The lowest fill that keeps the product's rule at the spread of the filler. Nothing is kept.

    The spread is that of the latest weighing, unless it is given; the density that of the formula,
    at 20 degC where contents are judged; the units those of the latest fill or batch. Raises
    NotFound, RuleMissing, SpreadMissing, DensityMissing, Invalid where no units are known.
    """
    actor.must(Verb.READ)
    found, chosen = net_contents_of(actor, product)
    known = for_labels(density, density_of(found.formula.material))
    if known is None and chosen is not None and found.fill_ml is not None:
        raise density_lacking(found.name, density)
    limits = _limits(found, chosen, known)
    latest = _latest(actor, found)
    spread, weighing = _spread(actor, found, deviation)
    count = _count(units, latest)
    value = None if latest is None else latest.value_per_gram
    target = lowest_target(limits, spread, count)

    def filled(grams: Decimal) -> Fill:
        giveaway = Giveaway(above(limits.nominal, grams), count, value)
        percent = percent_above(limits.nominal, grams)
        return Fill(percent, grams, keeps(limits, grams, spread, count), giveaway)

    def over(percent: Decimal) -> Fill:
        return filled(fill_of_mass(limits.nominal, percent))

    return TargetOf(
        product=found,
        limits=limits,
        deviation=spread,
        deviation_from=weighing,
        units=count,
        year_units=units_in_a_year(actor, found, now),
        target=target,
        lowest=filled(target.grams),
        now=over(found.overfill_percent),
        asked=None if overfill_percent is None else over(overfill_percent),
        density=known,
        room_ml=room_of_product(actor, found),
    )


@dataclass(frozen=True, slots=True)
class FillWeight:
    """What a piece is to weigh: as the product has it, and at the lowest that keeps its rule.

    Grams, net, by the `density` at 20 degC. `nominal` is None where that is lacking, `lowest` also
    where no rule is chosen or no piece was weighed yet. `warm` is the density of the fill, or all
    that is known, where it is of another temperature; a piece then takes `takes_ml` of `room_ml`.
    """

    nominal: Decimal | None
    density: Density | None
    lowest: Decimal | None
    warm: Density | None = None
    takes_ml: Decimal | None = None
    room_ml: Decimal | None = None

    @property
    def lacks_room(self) -> bool:
        """Whether a piece as warm as it is filled does not go into its container."""
        if self.takes_ml is None or self.room_ml is None:
            return False
        return self.room_ml < self.takes_ml


def fill_weight(
    actor: Actor, *, product: UUID | str, bulk: Lot, density: Density | None = None
) -> FillWeight:
    """What a piece of a product is to weigh when it is filled from `bulk`. Nothing is kept.

    By the density of the bulk at 20 degC; `density` is that of the fill. Raises NotFound.
    """
    actor.must(Verb.READ)
    found, chosen = net_contents_of(actor, product)
    known = label_density(bulk, density)
    nominal = nominal_of(found, known)
    per_ml = None if known is None else known.grams_per_millilitre
    limits = None
    if found.fill_ml is None or known is not None:
        limits = limits_in_grams(found, chosen, per_ml)
    weighed = None if limits is None else _latest_spread(actor, found)
    if limits is None or weighed is None or weighed.deviation_grams is None:
        lowest = None
    else:
        lowest = lowest_target(limits, weighed.deviation_grams, weighed.units).grams
    filled = density or density_of(bulk) or density_of(bulk.material)
    usual = found.fill_ml is None or filled is None or holds_at_20(filled)
    takes, room = room_for(actor, found, nominal, density) or (None, None)
    return FillWeight(nominal, known, lowest, None if usual else filled, takes, room)


def _count(units: int | None, latest: FilledUnits | None) -> int:
    if units is None and latest is None:
        raise Invalid("Say how many units a batch fills.", pointer="/units")
    return units or (latest.units if latest else 1)


def _limits(product: Product, chosen: NetContents | None, density: Density | None) -> Limits:
    known = None if density is None else density.grams_per_millilitre
    limits = limits_in_grams(product, chosen, known)
    if limits is None:
        raise RuleMissing(product=product.name)
    return limits


def _spread(
    actor: Actor, product: Product, given: Quantity | None
) -> tuple[Decimal, UnitWeighing | None]:
    if given is not None:
        return mass_of(given, "/standard_deviation"), None
    latest = _latest_spread(actor, product)
    if latest is None or latest.deviation_grams is None:
        raise SpreadMissing(product=product.name, pointer="/standard_deviation")
    return latest.deviation_grams, latest


def _latest_spread(actor: Actor, product: Product) -> UnitWeighing | None:
    """The latest weighing of its pieces that told how far they spread."""
    rows = UnitWeighing.objects.filter(
        maker_id=actor.maker, product=product, deviation_grams__isnull=False
    )
    return rows.order_by("happened_at", "id").last()


def _latest(actor: Actor, product: Product) -> FilledUnits | None:
    """The latest fill or finish of a product that stands."""
    fills = fills_of(actor).filter(product=product, **{"undone": False})
    fill: Any = fills.order_by("happened_at", "id").last()
    made = Making.objects.select_related("lot").filter(
        maker_id=actor.maker, batch__product=product, batch__making=F("id"), units__isnull=False
    )
    making = made.order_by("happened_at", "id").last()
    if fill is not None and (making is None or making.happened_at < fill.happened_at):
        value = fill.bulk / (fill.used_grams - fill.reject_grams)
        return FilledUnits(product, fill.lot, fill.units, value, filling=fill)
    if making is None or making.units is None:
        return None
    per_gram = cost_of(making).per_kg / GRAMS_PER_KG
    return FilledUnits(product, making.lot, making.units, per_gram, making=making)
