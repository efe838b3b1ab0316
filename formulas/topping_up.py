"""Using up the rest of a lot, and making up the line with another material or lot."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.errors import NotAnAlternate
from formulas.models import Alternate, Batch, BatchLine, Line, LineChange, TopUp
from formulas.repicking import Picked, pick_anew, pools_of
from formulas.reserving import StoredLot, stored_lots
from formulas.shares import Share, shares_of
from formulas.substituting import (
    Caution,
    Known,
    MadeUp,
    Strength,
    corrected_balance,
    make_up,
    must_have_balance,
    outside,
    touched,
)
from formulas.usable_lots import usable_lot
from formulas.weighing import place
from ledger.access import Actor, material_for
from ledger.costing import round_stored
from ledger.entries import lock_pools
from ledger.errors import (
    Invalid,
    NotFound,
    Sentence,
)
from ledger.models import Lot, Material, MaterialPart
from ledger.roles import Verb
from ledger.store_costs import StoreDraw, at_cost

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PouredCost:
    """What a topped-up line will cost as the store is now, exact to six decimals.

    `kept` and `other` are of what the lots that were picked hold; `planned` is what the line would
    cost of its own material alone, None where nothing of it is left to tell.
    """

    kept: Decimal
    other: Decimal
    planned: Decimal | None

    @property
    def total(self) -> Decimal:
        return self.kept + self.other


@dataclass(frozen=True, slots=True)
class ToppedUp:
    """A top-up as it stands: how the line was split, what gave way, and what it touches.

    `short` is what no usable lot of the substitute has.
    """

    top_up: TopUp
    batch: Batch
    line: BatchLine
    made_up: MadeUp
    balance: Share | None
    balance_grams: Decimal | None
    short: Decimal
    cautions: tuple[Caution, ...]
    cost: PouredCost


@dataclass(frozen=True, slots=True)
class _Substitute:
    """What makes up: a material, a certain lot of it or any, matched by active matter or not."""

    material: Material
    lot: Lot | None
    strength: Strength | None


def top_up(
    actor: Actor,
    *,
    batch: UUID | str,
    line: UUID | str,
    lot: UUID | str | None = None,
    material: UUID | str | None = None,
    other_lot: UUID | str | None = None,
) -> ToppedUp:
    """Use up the rest of `lot` for a line of a planned batch, and make up what it lacks.

    It is made up with `material`, one of the formula's alternates for the line, or with
    `other_lot`, of one of them or of the line's own material; with neither, the first alternate
    that has enough. Without `lot`, nothing more of the line's own is poured. Active matter is
    matched where the formula states it, the balance line gives way for what the substitute brings,
    and all lots are picked and promised anew. What has been weighed stays.

    Raises NotFound, AlreadyFinished, NotAnAlternate, BalanceMissing, BalanceTooSmall,
    LotNotReleased, LotExpired, LotOpenTooLong, Invalid.
    """
    actor.must(Verb.MAKE)
    found, of_line = place(actor, batch, line)
    if of_line is None:
        raise NotFound(pointer="/line")
    shares = shares_of(found)
    used = None if lot is None else usable_lot(actor, lot, "/lot", found)
    own = _own(of_line, shares, used)
    alternates = alternates_for(found, of_line)
    wanted = None if other_lot is None else usable_lot(actor, other_lot, "/other_lot", found)
    named = None if material is None else material_for(actor, material, pointer="/material")
    lines = [own.material.id, *(one.material_id for one in alternates)]
    lock_pools(pools_of(actor, found, shares) | {*lines})
    store = stored_lots(actor, lines, account=found.account_id)
    kept = ZERO if used is None else _left(store[used.material_id], used)
    _check_lack(own, used, kept)
    substitute = _substitute(found, of_line, own, alternates, named, wanted, (store, kept))
    made_up = make_up(own.still, kept, substitute.strength)
    balance, grams = _balance(shares, of_line, made_up)
    cautions = _cautions(shares, own.material, substitute.material, made_up)
    row = _keep(actor, found, own, used, substitute, made_up, balance, cautions)
    picked = [one for one in pick_anew(actor, found, shares_of(found)) if one.row.id == of_line.id]
    lacks = [one.lack for one in picked if one.material.id == substitute.material.id]
    cost = _cost(actor, picked, own, row)
    return ToppedUp(row, found, of_line, made_up, balance, grams, sum(lacks, ZERO), cautions, cost)


def _cautions(
    shares: Sequence[Share], own: Material, other: Material, made_up: MadeUp
) -> tuple[Caution, ...]:
    """What is touched; another lot of the same material touches nothing."""
    if own.id == other.id:
        return ()
    # What the substitute brings the balance line gives, so the batch weighs what it did.
    whole = sum((one.grams for one in shares), ZERO)
    grams = sum((one.grams for one in shares if one.material.id == other.id), made_up.other)
    return (
        *touched(known(own), known(other), made_up.brought),
        *outside(other.name, grams * 100 / whole, other.min_percent, other.max_percent),
    )


def known(material: Material) -> Known:
    """What the catalogue knows of a material that a substitution touches."""
    brings = None if material.brings is None else frozenset(material.brings.split())
    return Known(
        material.name,
        material.inci_name,
        material.function,
        brings,
        allergens=material.parts.filter(kind=MaterialPart.Kind.ALLERGEN).exists(),
        preserves="preservative" in (material.function, *material.cautions),
    )


def _own(line: BatchLine, shares: Sequence[Share], used: Lot | None) -> Share:
    """The share of the line that is made up: that of the lot, or of the line's own material."""
    material_id = line.material_id if used is None else used.material_id
    for share in shares:
        if share.line.id == line.id and share.material.id == material_id:
            if not share.material.stocked:
                raise Invalid(
                    Sentence(
                        "{name} is not stocked: it never runs short.", name=share.material.name
                    ),
                    pointer="/line",
                )
            if not share.still:
                raise Invalid(
                    Sentence(
                        "Nothing more of {name} is wanted on this line.", name=share.material.name
                    ),
                    pointer="/line",
                )
            return share
    name = used.material.name if used else ""
    raise Invalid(
        Sentence(
            "The lot {code} is {name}, which this line does not want.",
            code=used.code if used else "",
            name=name,
        ),
        pointer="/lot",
    )


def alternates_for(batch: Batch, line: BatchLine) -> list[Alternate]:
    """The alternates of the formula's line, as the batch's version has them."""
    rows = Alternate.objects.select_related("material", "line").filter(
        line__version_id=batch.version_id, line__position=line.position
    )
    return list(rows.order_by("position"))


def _left(lots: Sequence[StoredLot], lot: Lot) -> Decimal:
    """What nobody else was promised of a lot in store."""
    for one in lots:
        if one.pickable.lot == str(lot.id):
            return one.pickable.available
    return ZERO


def _check_lack(own: Share, used: Lot | None, kept: Decimal) -> None:
    if used is not None and kept >= own.still:
        raise Invalid(
            Sentence(
                "The lot {code} has {kept:f} g, and the line still wants {still:f} g: there is"
                " nothing to make up.",
                code=used.code,
                kept=kept.normalize(),
                still=own.still.normalize(),
            ),
            pointer="/lot",
        )


def _substitute(
    batch: Batch,
    line: BatchLine,
    own: Share,
    alternates: Sequence[Alternate],
    named: Material | None,
    lot: Lot | None,
    store: tuple[dict[UUID, list[StoredLot]], Decimal],
) -> _Substitute:
    """What makes up: the lot that was named, the material, or the first alternate with enough."""
    material = lot.material if lot else named
    if lot is not None and named is not None and lot.material_id != named.id:
        raise Invalid(
            Sentence("The lot {code} is not {name}.", code=lot.code, name=named.name),
            pointer="/other_lot",
        )
    if material is not None and material.id == own.material.id:
        if lot is None:
            raise Invalid(
                Sentence("Name the lot of {material} to make up with.", material=material.name),
                pointer="/material",
            )
        return _Substitute(material, lot, None)
    strengths = {one.material_id: one.active_percent for one in alternates}
    own_percent = Line.objects.values_list("active_percent", flat=True).get(
        version_id=batch.version_id, position=line.position
    )
    strengths[line.material_id] = own_percent
    if material is None:
        material = _first_with_enough(batch, own, alternates, strengths, store)
    if material.id not in strengths:
        raise NotAnAlternate(
            name=material.name, pointer="/material" if lot is None else "/other_lot"
        )
    mine, its = strengths[own.material.id], strengths[material.id]
    return _Substitute(material, lot, None if mine is None or its is None else Strength(mine, its))


def _first_with_enough(
    batch: Batch,
    own: Share,
    alternates: Sequence[Alternate],
    strengths: dict[UUID, Decimal | None],
    store: tuple[dict[UUID, list[StoredLot]], Decimal],
) -> Material:
    """The first alternate in its turn of which there is enough; the first one if of none."""
    lots, kept = store
    others: list[Material] = [
        one.material for one in alternates if one.material_id != own.material.id
    ]
    if not others:
        raise NotAnAlternate(
            "This line has no alternates: name another lot of its own material, or add alternates"
            " to a new version of the formula.",
            pointer="/material",
        )
    for material in others:
        mine, its = strengths[own.material.id], strengths[material.id]
        strength = None if mine is None or its is None else Strength(mine, its)
        usable = [one.pickable for one in lots.get(material.id, ())]
        there = sum((o.available for o in usable if o.usable_on(batch.planned_for)), ZERO)
        if there >= make_up(own.still, kept, strength).other:
            return material
    return others[0]


def _balance(
    shares: Sequence[Share], line: BatchLine, made_up: MadeUp
) -> tuple[Share | None, Decimal | None]:
    """The share that gives way, and its grams after that; None where nothing has to."""
    rows = [one for one in shares if one.line.kind == Line.Kind.BALANCE and one.line.id != line.id]
    must_have_balance(made_up, bool(rows))
    if not made_up.brought:
        return None, None
    share = rows[0]
    return share, corrected_balance(share.grams, share.weighed, made_up.brought)


def _keep(
    actor: Actor,
    batch: Batch,
    own: Share,
    used: Lot | None,
    substitute: _Substitute,
    made_up: MadeUp,
    balance: Share | None,
    cautions: Sequence[Caution],
) -> TopUp:
    ids = {"coop_id": actor.coop_id, "maker_id": actor.maker, "batch": batch}
    strength = substitute.strength
    row = TopUp(
        **ids,
        line=own.line,
        own_material=own.material,
        lot=used,
        material=substitute.material,
        other_lot=substitute.lot,
        kept_grams=made_up.kept,
        replaced_grams=made_up.replaced,
        other_grams=made_up.other,
        own_percent=strength and strength.own_percent,
        other_percent=strength and strength.other_percent,
        cautions=[{"code": one.code, "text": one.text} for one in cautions],
        person_id=actor.person_id,
    )
    row.save(force_insert=True)
    changes = [
        (own.line, own.material, -made_up.replaced),
        (own.line, substitute.material, made_up.other),
    ]
    if balance is not None:
        changes.append((balance.line, balance.material, -made_up.brought))
    if substitute.material.id != own.material.id:
        LineChange.objects.bulk_create(
            LineChange(**ids, top_up=row, line=line, material=material, grams=grams)
            for line, material, grams in changes
        )
    return row


def _cost(actor: Actor, picked: Sequence[Picked], own: Share, top_up: TopUp) -> PouredCost:
    """What the lots that were picked for the line cost; the pools are locked by then."""
    draws = [StoreDraw(one.material.id, lot, grams) for one in picked for lot, grams in one.picks]
    same = top_up.material_id == own.material.id
    kept, other, poured = ZERO, ZERO, ZERO
    for draw in at_cost(actor, draws):
        if draw.material_id == own.material.id and not (same and draw.lot_id != top_up.lot_id):
            kept, poured = kept + draw.value, poured + draw.quantity
        elif draw.material_id == top_up.material_id:
            other += draw.value
    planned = None
    if poured:
        planned = round_stored(Fraction(kept) * Fraction(own.still) / Fraction(poured))
    return PouredCost(kept, other, planned)
