"""Reading what a product or a batch is made of, for its declaration.

An intermediate is broken up into what it is made of, unless its own material states an INCI name
or a composition: the maker of an infusion knows best what of the herb stays in it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from graphlib import TopologicalSorter
from uuid import UUID

from django.db.models import F, Prefetch, QuerySet, Sum

from formulas.access import batch_for, product_for, standing
from formulas.declaration import Declaration, Market, Part, Stated, broken_up, declare
from formulas.models import Batch, BatchLine, FormulaVersion, Line, Making, Product, Weighing
from ledger.access import Actor, materials_visible_to
from ledger.models import Material, MaterialPart
from ledger.roles import Verb

WHOLE = "whole"
ZERO = Decimal(0)
HUNDRED = Fraction(100)
Mixtures = dict[str, dict[str, Fraction]]


@dataclass(frozen=True, slots=True)
class Way:
    """A way by which a material comes into the whole: straight, or within something that was made.

    `share` is the percent of the whole that `within` is, and `part` what it is of that, in percent;
    `within` is empty where it is weighed in as it is.
    """

    within: str
    share: Fraction
    part: Fraction

    @property
    def percent(self) -> Fraction:
        """What it is of the whole by this way."""
        return self.share * self.part / 100


@dataclass(frozen=True, slots=True)
class Mixed:
    """What something is made of, mixture by mixture, and what its materials state of themselves."""

    mixtures: Mixtures
    stated: Mapping[str, Stated]

    def declare(self, *, use: str, market: Market, water_lost_percent: Decimal) -> Declaration:
        """What its label says. Raises what `formulas.declaration.declare` raises."""
        percents: dict[str, Fraction] = {}
        for key, percent in broken_up(WHOLE, self.mixtures).items():
            material = _material(key)
            percents[material] = percents.get(material, Fraction(0)) + percent
        known = {id: self.of(id) for id in percents}
        return declare(
            percents, known, use=use, market=market, water_lost_percent=water_lost_percent
        )

    def of(self, material: str) -> Stated:
        """What a material states; another maker's is not seen."""
        return self.stated.get(material) or Stated("what another maker made")

    def ways(self) -> dict[str, list[Way]]:
        """Of each material that is no mixture itself, how it comes in; all come to 100 %."""
        above = {key: set[str]() for key in self.mixtures}
        for key, parts in self.mixtures.items():
            for part in parts.keys() & above.keys():
                above[part].add(key)
        shares, found = {WHOLE: HUNDRED}, defaultdict[str, list[Way]](list)
        for key in TopologicalSorter(above).static_order():
            share, parts = shares.get(key, Fraction(0)), self.mixtures[key]
            total = sum(parts.values(), Fraction(0))
            name = "" if key == WHOLE else self.of(_material(key)).name
            for part, amount in parts.items() if share and total else ():
                way = Way(name, share, 100 * amount / total)
                if part in self.mixtures:
                    shares[part] = shares.get(part, Fraction(0)) + way.percent
                elif amount:
                    found[_material(part)].append(way)
        return found


def declare_product(
    actor: Actor,
    *,
    product: UUID | str,
    market: Market = Market.EU,
    water_lost_percent: Decimal = ZERO,
) -> tuple[Declaration, FormulaVersion]:
    """What a product's label says it is made of, by the version of its formula in force.

    Lines to effect count with their typical percent. Raises NotFound, Forbidden, and what
    `declare` raises.
    """
    actor.must(Verb.READ)
    found = product_for(actor, product)
    return declare_as_is(actor, found, market=market, water_lost_percent=water_lost_percent)


def declare_as_is(
    actor: Actor, product: Product, *, market: Market, water_lost_percent: Decimal
) -> tuple[Declaration, FormulaVersion]:
    """The same of a product that is at hand."""
    mixed, version = mixed_product(actor, product)
    declared = mixed.declare(use=product.use, market=market, water_lost_percent=water_lost_percent)
    return declared, version


def mixed_product(actor: Actor, product: Product) -> tuple[Mixed, FormulaVersion]:
    """What a product is made of by the version of its formula in force."""
    version = _in_force(actor).get(formula_id=product.formula_id)
    return _mixed(actor, {WHOLE: _of_lines(version)}), version


def declare_batch(
    actor: Actor,
    *,
    batch: UUID | str,
    market: Market = Market.EU,
    water_lost_percent: Decimal = ZERO,
) -> tuple[Declaration, Batch, bool]:
    """What one batch is made of; True if by what was weighed in, False if by its plan.

    A finished batch is declared by what was weighed into it, and made lots by what was weighed
    into theirs. Raises NotFound, Forbidden, and what `declare` raises.
    """
    actor.must(Verb.READ)
    found = batch_for(actor, batch)
    mixed, weighed = mixed_batch(actor, found)
    use = found.product.use if found.product else ""
    declared = mixed.declare(use=use, market=market, water_lost_percent=water_lost_percent)
    return declared, found, weighed


def mixed_batch(actor: Actor, batch: Batch) -> tuple[Mixed, bool]:
    """What a batch is made of; True if by what was weighed in, False if by its plan."""
    weighed = batch.state == Batch.State.FINISHED
    return _mixed(actor, _weighed(batch) if weighed else {WHOLE: _of_plan(batch)}), weighed


def _mixed(actor: Actor, mixtures: Mapping[str, Mapping[str, Fraction]]) -> Mixed:
    whole = {key: dict(parts) for key, parts in mixtures.items()}
    for key, parts in _by_formula(actor, _leaves(whole)).items():
        whole.setdefault(key, parts)
    stated = _stated(actor, _leaves(whole) | whole.keys())
    for key in list(whole):
        one = stated.get(_material(key))
        if key != WHOLE and one is not None and (one.inci_name or one.parts):
            # It speaks for itself.
            del whole[key]
    absent = {id for id, one in stated.items() if one.absent}
    whole = {
        key: {part: amount for part, amount in parts.items() if _material(part) not in absent}
        for key, parts in whole.items()
    }
    return Mixed(whole, stated)


def _material(key: str) -> str:
    """The material that a key is of: a material's own id, or behind it the lot's."""
    return key.partition("/")[0]


def _leaves(mixtures: Mapping[str, Mapping[str, Fraction]]) -> set[str]:
    return {part for parts in mixtures.values() for part in parts} - mixtures.keys()


def _add(parts: dict[str, Fraction], key: str, amount: Decimal) -> None:
    parts[key] = parts.get(key, Fraction(0)) + Fraction(amount)


def _of_lines(version: FormulaVersion) -> dict[str, Fraction]:
    parts: dict[str, Fraction] = {}
    for line in version.lines.all():
        of = line.component.material_id if line.component else line.material_id
        _add(parts, str(of), line.percent)
    return parts


def _of_plan(batch: Batch) -> dict[str, Fraction]:
    parts: dict[str, Fraction] = {}
    for line in BatchLine.objects.filter(coop_id=batch.coop_id, batch=batch):
        _add(parts, str(line.material_id), line.grams)
    return parts


def _weighed(batch: Batch) -> Mixtures:
    """What went into a batch, and into the batches that made those lots: one round a depth."""
    mixtures: Mixtures = {}
    keys = {batch.id: [WHOLE]}
    seen = {batch.id}
    while keys:
        rows = list(
            standing(Weighing.objects.filter(coop_id=batch.coop_id, batch_id__in=keys))
            .values("batch_id", "lot_id", "lot__material_id")
            .annotate(grams=Sum("quantity"))
            .filter(grams__gt=0)
        )
        makings = Making.objects.filter(
            coop_id=batch.coop_id,
            lot_id__in={row["lot_id"] for row in rows},
            batch__making=F("id"),
        )
        made_in = dict(makings.values_list("lot_id", "batch_id"))
        following: dict[UUID, list[str]] = {}
        for row in rows:
            key = str(row["lot__material_id"])
            if row["lot_id"] in made_in:
                key = f"{key}/{row['lot_id']}"
                into = made_in[row["lot_id"]]
                if into not in seen:
                    following.setdefault(into, []).append(key)
            for whole in keys[row["batch_id"]]:
                _add(mixtures.setdefault(whole, {}), key, row["grams"])
        keys = {id: sorted(set(found)) for id, found in following.items()}
        seen |= keys.keys()
    return mixtures


def _by_formula(actor: Actor, materials: Iterable[str]) -> Mixtures:
    """Made materials of the maker's by the versions in force: one query for each depth."""
    mixtures: Mixtures = {}
    wanted = {one for one in materials if "/" not in one}
    while wanted:
        rows = _in_force(actor).filter(formula__material_id__in=wanted)
        level = {str(row.formula.material_id): _of_lines(row) for row in rows}
        mixtures |= level
        wanted = {part for parts in level.values() for part in parts} - mixtures.keys()
    return mixtures


def _in_force(actor: Actor) -> QuerySet[FormulaVersion]:
    """The maker's versions in force with their lines, in two queries."""
    lines = Prefetch("lines", Line.objects.select_related("component"))
    rows = FormulaVersion.objects.select_related("formula").prefetch_related(lines)
    return rows.filter(maker_id=actor.maker, number=F("formula__version"))


def _stated(actor: Actor, keys: Iterable[str]) -> dict[str, Stated]:
    """What the materials state of themselves, in two queries."""
    ids = {_material(key) for key in keys} - {WHOLE}
    rows = materials_visible_to(actor).filter(id__in=ids).prefetch_related("parts")
    return {str(row.id): stated_of(row) for row in rows}


def stated_of(material: Material) -> Stated:
    """What one material states of itself."""
    rows = sorted(material.parts.all(), key=lambda part: part.position)
    kinds = MaterialPart.Kind
    parts, allergens = (
        tuple(Part(row.inci_name, row.percent) for row in rows if row.kind == kind)
        for kind in (kinds.PART, kinds.ALLERGEN)
    )
    return Stated(
        name=material.name,
        inci_name=material.inci_name,
        parts=parts,
        allergens=allergens,
        colourant=material.declared_as == Material.DeclaredAs.COLOURANT,
        absent=material.declared_as == Material.DeclaredAs.ABSENT,
    )
