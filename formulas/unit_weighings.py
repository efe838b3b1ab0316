"""Units of a fill weighed: whether they keep the product's rule, and what is given away."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Sum

from formulas.access import batch_for, fills_of, product_for
from formulas.fill_targets import Giveaway, Target, above, lowest_target
from formulas.finishing import cost_of
from formulas.label_volumes import density_lacking, for_labels
from formulas.models import Filling, Making, NetContents, Product, UnitWeighing
from formulas.net_contents import Judged, Limits, Rule, judge, limits_of, spread_of
from ledger.access import Actor, find
from ledger.costing import GRAMS_PER_KG
from ledger.counting import GRACE
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
    UnitWrong,
)
from ledger.measuring import density_of
from ledger.models import Entry, Lot
from ledger.quantities import Density, Quantity
from ledger.roles import Verb

if TYPE_CHECKING:
    from django.db.models import QuerySet

ZERO = Decimal(0)
MICRO = Decimal("0.000001")
YEAR = timedelta(days=365)
# Below this the standard deviation itself is a guess (common practice; Category A takes twelve).
ENOUGH = 12
HEAVIEST = Decimal(10**9)
# What holds less than half or more than one and a half times its nominal is mostly a slip.
FAR_PERCENT = 50


@dataclass(frozen=True, slots=True)
class Weighed:
    """One unit: its net, or gross with the tare of its own or that of all."""

    net: Quantity | None = None
    gross: Quantity | None = None
    tare: Quantity | None = None


@dataclass(frozen=True, slots=True)
class FilledUnits:
    """A lot of units and how it came to be: by a fill, or finished with its batch."""

    product: Product
    lot: Lot
    units: int
    value_per_gram: Decimal
    filling: Filling | None = None
    making: Making | None = None
    undone: bool = False


@dataclass(frozen=True, slots=True)
class Checked:
    """Weighed units judged: the rule's verdict, what is given away, what a lower target saves.

    `judged` and `target` are None without a rule, and `target` also without a spread.
    """

    row: UnitWeighing
    judged: Judged | None
    batch: Giveaway
    year: Giveaway
    target: Target | None
    saving: Giveaway | None
    saving_year: Giveaway | None

    @property
    def few(self) -> bool:
        return self.row.units < min(ENOUGH, self.row.lot_units)


def net_contents_of(actor: Actor, product: UUID | str) -> tuple[Product, NetContents | None]:
    """A product and the rule of its net contents, if one is chosen. Raises NotFound, Forbidden."""
    found = product_for(actor, product)
    rows = NetContents.objects.filter(maker_id=actor.maker, product=found)
    return found, rows.first()


def choose_rule(
    actor: Actor, *, product: UUID | str, rule: str, allowed: Quantity | None
) -> tuple[Product, NetContents]:
    """Choose the rule of a product's net contents, and enter one's own reading of what it allows.

    `allowed` is what a unit may lack: the MAV or TNE of the edition that holds where it is sold.
    Raises NotFound, UnitWrong, Invalid for a size that the rule does not know.
    """
    actor.must(Verb.FORMULATE)
    found = product_for(actor, product)
    by_volume = found.fill_ml is not None
    if allowed is not None and allowed.measure != ("volume" if by_volume else "mass"):
        raise UnitWrong(
            Sentence(
                "The fill of {name} is by {measure}: give the allowed shortage by the same.",
                name=found.name,
                measure="volume" if by_volume else "mass",
            ),
            name=found.name,
            pointer="/allowed_shortage",
        )
    amount = None if allowed is None else allowed.amount.quantize(MICRO)
    try:
        limits_of(Rule(rule), _nominal(found), by_volume=by_volume, allowed=amount)
    except Invalid as refusal:
        raise refusal.at("/rule" if allowed is None else "/allowed_shortage") from None
    facts = {
        "coop_id": actor.coop_id,
        "rule": rule,
        "allowed": amount,
        "allowed_entered": "" if allowed is None else allowed.entered,
    }
    row, _ = NetContents.objects.update_or_create(
        maker_id=actor.maker, product=found, defaults=facts
    )
    return found, row


def limits_in_grams(
    product: Product, chosen: NetContents | None, density: Decimal | None
) -> Limits | None:
    """The limits of a product's contents in grams; None where no rule is chosen."""
    if chosen is None:
        return None
    by_volume = product.fill_ml is not None
    found = limits_of(
        Rule(chosen.rule), _nominal(product), by_volume=by_volume, allowed=chosen.allowed
    )
    return found.times(density) if by_volume and density is not None else found


def units_of_fill(actor: Actor, fill: UUID | str) -> FilledUnits:
    """The units of a fill, also of one that was undone. Raises NotFound."""
    row: Any = find(fills_of(actor).select_related("lot__material"), fill)
    carried = row.used_grams - row.reject_grams
    value = row.bulk / carried
    product = product_for(actor, row.product_id)
    return FilledUnits(product, row.lot, row.units, value, filling=row, undone=row.undone)


def units_of_batch(actor: Actor, batch: UUID | str) -> FilledUnits | None:
    """The units that a batch was finished with; None without any. Raises NotFound."""
    row = batch_for(actor, batch)
    if row.making is None or not row.making.units or row.product_id is None:
        return None
    per_gram = cost_of(row.making).per_kg / GRAMS_PER_KG
    product = product_for(actor, row.product_id)
    return FilledUnits(product, row.making.lot, row.making.units, per_gram, making=row.making)


def weigh_units(
    actor: Actor,
    *,
    of: FilledUnits | None,
    weighed: Sequence[Weighed],
    happened_at: datetime,
    now: datetime,
    tare: Quantity | None = None,
    density: Density | None = None,
) -> tuple[UnitWeighing, FilledUnits]:
    """Keep the weights of units, and what the product's rule then was.

    A fill by volume is judged by `density`, or that of the bulk, or the formula's: the first that
    holds at about 20 degC, where contents are judged. Raises Invalid, UnitWrong, DensityMissing,
    and Conflict for a batch without units or a fill that was undone.
    """
    actor.must(Verb.MAKE)
    if happened_at > now + GRACE:
        raise Invalid(
            "This moment lies in the future; give the moment when they were weighed.",
            pointer="/happened_at",
        )
    if of is None:
        raise Conflict("This batch has no pieces: weigh those of a fill, or finish it with pieces.")
    if of.undone:
        raise Conflict("This fill was undone; weigh the pieces of one that stands.")
    if len(weighed) > of.units:
        raise Invalid(
            Sentence("The lot has {units} pieces; no more can be weighed.", units=of.units),
            pointer="/weighings",
        )
    contents = [_content(one, tare, place) for place, one in enumerate(weighed)]
    row = _row(actor, of, contents, density)
    row.happened_at = happened_at
    row.save(force_insert=True)
    return row, of


def _row(
    actor: Actor,
    of: FilledUnits,
    contents: Sequence[tuple[Decimal, dict[str, str]]],
    density: Density | None,
) -> UnitWeighing:
    """What is kept of some contents, with the rule as it is now."""
    spread = spread_of([net for net, _ in contents])
    found, origin = _density(of, density)
    grams_per_ml = None if found is None else found.grams_per_millilitre
    nominal = _nominal(of.product)
    if of.product.fill_ml is not None:
        if grams_per_ml is None:
            raise density_lacking(of.product.name, density)
        nominal = nominal * grams_per_ml
    chosen = NetContents.objects.filter(maker_id=actor.maker, product=of.product).first()
    limits = limits_in_grams(of.product, chosen, grams_per_ml)
    return UnitWeighing(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        product=of.product,
        lot=of.lot,
        filling=of.filling,
        making=of.making,
        lot_units=of.units,
        units=spread.count,
        contents=[facts for _, facts in contents],
        mean_grams=spread.mean.quantize(MICRO),
        deviation_grams=None if spread.deviation is None else spread.deviation.quantize(MICRO),
        least_grams=spread.least,
        nominal_grams=nominal.quantize(MICRO),
        density=grams_per_ml,
        density_at=None if found is None or found.celsius is None else round(found.celsius, 2),
        density_of=origin,
        rule="" if limits is None else limits.rule.value,
        allowed_grams=None if limits is None else limits.allowed.quantize(MICRO),
        allowed_by="" if limits is None else limits.source,
        person_id=actor.person_id,
    )


def far_off(row: UnitWeighing) -> list[int]:
    """The places of the units that hold far less or far more than they should."""
    far = row.nominal_grams * FAR_PERCENT / 100
    nets = [Decimal(one["net"]) for one in row.contents]
    return [place for place, net in enumerate(nets) if abs(net - row.nominal_grams) > far]


def unit_weighings_of(actor: Actor, of: FilledUnits) -> "QuerySet[UnitWeighing]":
    """The weighings of one lot of units."""
    return UnitWeighing.objects.filter(maker_id=actor.maker, lot=of.lot)


def check(
    row: UnitWeighing, of: FilledUnits, year_units: int, limits: Limits | None = None
) -> Checked:
    """Judge a weighing, and price what is given away in the batch and in a year like the last.

    It is judged by the rule as it was when it was kept; by `limits` where there was none yet.
    """
    nets = [Decimal(one["net"]) for one in row.contents]
    limits = limits_kept(row) or limits
    over, value = above(row.nominal_grams, row.mean_grams), of.value_per_gram
    target = None
    if limits is not None and row.deviation_grams is not None:
        target = lowest_target(limits, row.deviation_grams, row.lot_units)
    less = None if target is None else above(target.grams, row.mean_grams)
    return Checked(
        row=row,
        judged=None if limits is None else judge(limits, nets, row.lot_units),
        batch=Giveaway(over, row.lot_units, value),
        year=Giveaway(over, year_units, value),
        target=target,
        saving=None if less is None else Giveaway(less, row.lot_units, value),
        saving_year=None if less is None else Giveaway(less, year_units, value),
    )


def limits_kept(row: UnitWeighing) -> Limits | None:
    """The limits as they were when the units were weighed."""
    if row.allowed_grams is None:
        return None
    return Limits(Rule(row.rule), row.nominal_grams, row.allowed_grams, row.allowed_by)


def limits_now(row: UnitWeighing, product: Product, chosen: NetContents | None) -> Limits | None:
    """What the product's rule says now of units that were weighed before.

    What is kept of them, their net grams and the density, is all that a rule needs. None without a
    rule, or where the product has another size by now. Of a fill by mass a density may be kept, and
    says nothing.
    """
    per_unit = Decimal(1) if product.fill_ml is None else row.density
    if per_unit is None or (_nominal(product) * per_unit).quantize(MICRO) != row.nominal_grams:
        return None
    now = limits_in_grams(product, chosen, row.density)
    if now is None:
        return None
    # To the digits in which a rule is kept, or one that never changed would look like another.
    return replace(now, nominal=row.nominal_grams, allowed=now.allowed.quantize(MICRO))


def units_in_a_year(actor: Actor, product: Product, now: datetime) -> int:
    """Units of a product filled or finished in the 365 days before `now`, less what was undone."""
    return units_of_a_year(actor, [product], now).get(product.id, 0)


def units_of_a_year(actor: Actor, products: Sequence[Product], now: datetime) -> Counter[UUID]:
    """The same of several products, in two queries."""
    undone = Entry.objects.filter(coop_id=OuterRef("coop_id"), reverses=OuterRef("entry_id"))
    within = {"happened_at__gt": now - YEAR, "happened_at__lte": now}
    filled = Filling.objects.filter(
        ~Exists(undone), maker_id=actor.maker, product__in=products, **within
    ).values_list("product")
    made = Making.objects.filter(
        maker_id=actor.maker,
        batch__product__in=products,
        batch__making=F("id"),
        units__isnull=False,
        **within,
    ).values_list("batch__product")
    return sum((Counter(dict(rows.annotate(Sum("units")))) for rows in (filled, made)), Counter())


def _nominal(product: Product) -> Decimal:
    """Nominal contents in the unit of the fill, without the overfill."""
    nominal: Decimal = product.fill_grams if product.fill_ml is None else product.fill_ml
    return nominal


def _density(of: FilledUnits, given: Density | None) -> tuple[Density | None, str]:
    """The density at 20 degC that was given now, or the bulk's, or the formula's; and which."""
    known = {
        "given": given,
        "lot": None if of.filling is None else density_of(of.filling.bulk_lot),
        "formula": density_of(of.product.formula.material),
    }
    usual = ((one, origin) for origin, one in known.items() if for_labels(one))
    return next(usual, (None, ""))


def _content(one: Weighed, tare: Quantity | None, place: int) -> tuple[Decimal, dict[str, str]]:
    """Net grams of a unit, and what is kept of how they were found."""
    pointer = f"/weighings/{place}"
    if (one.net is None) == (one.gross is None):
        raise Invalid("Give the net of a unit, or its gross.", pointer=pointer)
    if one.net is not None:
        net = mass_of(one.net, f"{pointer}/net")
        return net, {"net": f"{net:f}"}
    empty = one.tare or tare
    if empty is None or one.gross is None:
        raise Invalid("A gross needs its tare: its own, or one for all.", pointer=f"{pointer}/tare")
    gross, weight = mass_of(one.gross, f"{pointer}/gross"), mass_of(empty, f"{pointer}/tare")
    if not gross > weight:
        raise Invalid(
            "The full unit weighs no more than the empty one: check gross and tare.",
            pointer=f"{pointer}/gross",
        )
    net = gross - weight
    return net, {"net": f"{net:f}", "gross": f"{gross:f}", "tare": f"{weight:f}"}


def mass_of(quantity: Quantity, pointer: str) -> Decimal:
    """Grams of what was weighed. Raises UnitWrong, Invalid."""
    if quantity.measure != "mass":
        raise UnitWrong('Units are weighed: give a mass such as "260.4 g".', pointer=pointer)
    if quantity.amount >= HEAVIEST:
        raise Invalid("No unit weighs a thousand tonnes; check its unit.", pointer=pointer)
    return quantity.amount.quantize(MICRO)
