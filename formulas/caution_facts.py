"""What the pure cautions are told of a formula, a batch, a weighing and a product."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import standing
from formulas.allowed import SCENTS, Flag, Maximum, Part
from formulas.cautions import Caution, Facts, Step, cautions
from formulas.composition import Recipe, explode, left_after_loss
from formulas.judging import Measure, Window, is_outside, told
from formulas.lines_lots import lots_of
from formulas.measurements import judged, last_celsius, standing_rows, windows_of
from formulas.models import (
    Batch,
    BatchLine,
    FormulaVersion,
    Line,
    Measurement,
    Product,
    Weighing,
)
from formulas.recipes import composed, intermediates, recipes_below, recipes_under
from formulas.shares import Chosen, Share, shares, shares_of
from formulas.unit_costs import UnitCost
from formulas.weighing import Weighed
from ledger.costing import round_stored
from ledger.lots import last_usable_day
from ledger.models import Lot, Material, MaterialMaximum

WATER = {"aqua", "water", "eau"}
WHILE_WARM = timedelta(days=1)
LYE = {"sodium hydroxide", "potassium hydroxide"}


def of_formula(version: FormulaVersion) -> tuple[Caution, ...]:
    """The cautions of a formula, through its intermediates as they are in force."""
    return cautions(Step.FORMULA, Facts(parts=_with_maxima(_parts_under(version))))


def of_product(product: Product, version: FormulaVersion) -> tuple[Caution, ...]:
    """The cautions of a product, by its name, label and use and by the version in force."""
    return _of_product(product, _parts_under(version))


def of_use(product: Product) -> tuple[Caution, ...]:
    """Those of its name, label and use alone, whatever is in it; with no query."""
    return _of_product(product, ())


def of_costed(found: UnitCost) -> tuple[Caution, ...]:
    """The same of a product whose materials are at hand with their cost, in two queries at most."""
    grams = {share.cost.material_id: Fraction(share.quantity) for share in found.materials}
    left = left_after_loss(found.version.process_loss_percent)
    weighed_in = Fraction(found.fill_grams) / left
    materials = Material.objects.in_bulk(list(grams))
    parts = [
        _part(materials[id], round_stored(part * 100 / weighed_in)) for id, part in grams.items()
    ]
    return _of_product(found.product, parts)


def _of_product(product: Product, parts: Sequence[Part]) -> tuple[Caution, ...]:
    facts = Facts(
        parts=_with_maxima(parts),
        product_name=product.name,
        # A warning such as "use a sunscreen" claims nothing.
        label_function=product.label_function,
        use=product.use,
        areas=product.areas,
    )
    return cautions(Step.PRODUCT, facts)


def of_plan(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of a planned batch whose lines, lots and weighings are at hand.

    Its intermediates are opened as they are in force, in two queries; else there is none.
    """
    chosen = Chosen.of(batch)
    undated = [
        lot.code
        for share in shares(batch.lines.all(), batch.changes.all(), batch.weighings.all())
        if share.material.stocked
        for lot in lots_of(batch, share, chosen)
        if last_usable_day(lot, None) is None
    ]
    return cautions(
        Step.PLAN,
        Facts(parts=_parts_of(batch), day=batch.planned_for, undated_lots=sorted(set(undated))),
    )


def of_sheet(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of planning and of weighing in, for who follows a batch on paper.

    Its details are at hand. Those of planning only while it is planned.
    """
    planned = of_plan(batch) if batch.state == Batch.State.PLANNED else ()
    poured = {line.material_id: line.material for line in batch.lines.all()}
    poured |= {change.material_id: change.material for change in batch.changes.all()}
    parts = tuple(_part(material, Decimal(0)) for material in poured.values())
    return cautions(Step.WEIGH, Facts(parts=parts)) + planned


def of_pouring(material: Material) -> tuple[Caution, ...]:
    """The cautions of a material that is about to be weighed."""
    return cautions(Step.WEIGH, Facts(parts=(_part(material, Decimal(0)),)))


def of_weighing(done: Weighed) -> tuple[Caution, ...]:
    """The cautions of what was just weighed in.

    What the line does not list changes the whole batch, which is then looked at too, in some
    queries more.
    """
    material, weighed = done.lot.material, done.weighing
    parts = (_part(material, Decimal(0)),)
    if not _beside_the_line(weighed, done.line, done.lot):
        return cautions(Step.WEIGH, Facts(parts=parts))
    rows = standing(Weighing.objects.filter(batch=done.batch, line__isnull=True))
    whole = _whole(shares_of(done.batch), rows.select_related("lot__material"))
    additions = (material.name,) if done.line is None else ()
    return cautions(Step.WEIGH, Facts(parts=parts, whole=whole, additions=additions))


def of_last(
    last: Weighing | None, found: Sequence[Share], weighings: Iterable[Weighing]
) -> tuple[Caution, ...]:
    """The cautions of the weighing that came last, if its line does not list what it is of.

    `found` and `weighings` are all of its batch, which are at hand with their lines and lots.
    """
    if last is None or not _beside_the_line(last, last.line, last.lot):
        return ()
    additions = (last.lot.material.name,) if last.line is None else ()
    return cautions(Step.WEIGH, Facts(whole=_whole(found, weighings), additions=additions))


def _beside_the_line(weighed: Weighing, line: BatchLine | None, lot: Lot) -> bool:
    """Whether something went in that no line lists, or that stands in for what its line lists."""
    if weighed.quantity <= 0:
        return False
    return line is None or lot.material_id != line.material_id


def of_measurement(row: Measurement, windows: dict[Measure, Window]) -> tuple[Caution, ...]:
    """The cautions of what was just measured."""
    return cautions(Step.MEASURE, _measured([row], windows))


def of_finish(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of a batch at its end, by its last measurements and its additions."""
    last = {}
    for row in sorted(standing_rows(batch), key=lambda row: (row.happened_at, row.id)):
        last[row.measure] = row
    facts = _measured(last.values(), windows_of(batch.version))
    rows = standing(Weighing.objects.filter(batch=batch))
    weighed = list(rows.select_related("lot__material", "line").order_by("id"))
    kept: dict[str, Decimal] = defaultdict(Decimal)
    for one in weighed:
        if one.line_id is None:
            kept[one.lot.material.name] += one.quantity
    additions = tuple(name for name, grams in kept.items() if grams > 0)
    whole = _with_maxima(_opened_up(batch.coop_id, [_poured(one) for one in weighed]))
    facts = replace(facts, additions=additions, whole=whole)
    if batch.product is not None:
        facts = replace(facts, use=batch.product.use, areas=batch.product.areas)
    return cautions(Step.FINISH, facts)


def of_fill(
    batch: Batch | None, celsius: Decimal | None, happened_at: datetime
) -> tuple[Caution, ...]:
    """The cautions of a fill, by how warm it is said to be filled, in one query at most.

    Unless it is said, by the last temperature of the batch, if that was taken within a day: later
    it has cooled (common practice).
    """
    if celsius is None and batch is not None:
        celsius = last_celsius(batch, happened_at, happened_at - WHILE_WARM)
    return cautions(Step.FILL, Facts(celsius=celsius))


def _measured(rows: Iterable[Measurement], windows: dict[Measure, Window]) -> Facts:
    celsius, ph_outside, outside = None, "", []
    for row in rows:
        if row.measure == Measure.TEMPERATURE:
            celsius = row.value
        if not is_outside(judged(row, windows)):
            continue
        sentence = told(windows.get(Measure(row.measure)), row.value, row.agrees)
        if row.measure == Measure.PH:
            ph_outside = sentence
        else:
            outside.append(sentence)
    return Facts(celsius=celsius, ph_outside=ph_outside, outside=outside)


@dataclass(frozen=True, slots=True)
class _InPot:
    """So many grams of a material in the pot, or of the formula that it is made by."""

    material: Material
    component_id: UUID | None
    grams: Decimal


def _poured(one: Weighing) -> _InPot:
    own = one.line is not None and one.line.material_id == one.lot.material_id
    return _InPot(
        one.lot.material, one.line.component_id if own and one.line else None, one.quantity
    )


def _whole(found: Iterable[Share], weighings: Iterable[Weighing]) -> tuple[Part, ...]:
    """What the batch will be at its end: of each line what it wants, or what is in if that is more.

    Of what is added to effect, what is in; and all that no line lists.
    """
    there = []
    for share in found:
        own = share.material.id == share.line.material_id
        to_effect = share.line.kind == Line.Kind.TO_EFFECT
        grams = share.weighed or share.grams if to_effect else max(share.weighed, share.grams)
        there.append(_InPot(share.material, share.line.component_id if own else None, grams))
    there += [_poured(one) for one in weighings if one.line_id is None]
    coop = next((share.line.coop_id for share in found), None)
    return _opened_up(coop, there) if coop else ()


def _opened_up(coop: UUID, there: Sequence[_InPot]) -> tuple[Part, ...]:
    """What is in the pot in percent of it, intermediates opened as they are in force."""
    total = sum((Fraction(one.grams) for one in there), Fraction(0))
    if total <= 0:
        return ()
    known = {one.material.id: one.material for one in there if one.component_id is None}
    grams: dict[UUID, Fraction] = defaultdict(Fraction)
    inner: dict[str, Fraction] = defaultdict(Fraction)
    for one in there:
        if one.component_id is None:
            grams[one.material.id] += Fraction(one.grams)
        else:
            inner[str(one.component_id)] += Fraction(one.grams)
    recipes = recipes_below(coop, inner)
    for component, amount in inner.items():
        weighed_in = amount / left_after_loss(recipes[component].process_loss_percent)
        for id, part in explode(component, weighed_in, recipes).items():
            grams[UUID(id)] += part
    unknown = grams.keys() - known.keys()
    materials = {**known, **(Material.objects.in_bulk(list(unknown)) if unknown else {})}
    return tuple(
        _part(materials[id], round_stored(part * 100 / total)) for id, part in grams.items()
    )


def _parts_under(version: FormulaVersion) -> tuple[Part, ...]:
    """What a formula is made of, in percent of what is weighed in, intermediates opened."""
    return _opened(str(version.formula_id), recipes_under(version), {})


def _parts_of(batch: Batch) -> tuple[Part, ...]:
    """The same of a batch by its lines, which have their materials at hand."""
    lines = sorted(batch.lines.all(), key=lambda line: line.position)
    own = Recipe(composed(lines))
    # By the batch's own id: an intermediate may by now contain the formula that it was planned of.
    recipes = recipes_below(batch.coop_id, intermediates([own])) | {str(batch.id): own}
    known = {line.material_id: line.material for line in lines if line.component_id is None}
    return _opened(str(batch.id), recipes, known)


def _opened(
    top: str, recipes: Mapping[str, Recipe], known: Mapping[UUID, Material]
) -> tuple[Part, ...]:
    """The parts of one recipe; materials that are not `known` yet are looked up together."""
    grams = {UUID(id): part for id, part in explode(top, Fraction(100), recipes).items()}
    unknown = grams.keys() - known.keys()
    materials = {**known, **(Material.objects.in_bulk(list(unknown)) if unknown else {})}
    return tuple(_part(materials[id], round_stored(part)) for id, part in grams.items())


def _with_maxima(parts: Sequence[Part]) -> tuple[Part, ...]:
    """The same with what certificates allow in each kind of product; a query where it counts."""
    wanted = [part.material for part in parts if part.material and part.flags & SCENTS]
    stated: dict[UUID, list[Maximum]] = defaultdict(list)
    if wanted:
        rows = MaterialMaximum.objects.filter(material_id__in=wanted).order_by("kind")
        for row in rows:
            stated[row.material_id].append(Maximum(row.kind, row.max_percent, row.category))
    return tuple(
        replace(part, maxima=stated[part.material])
        if part.material is not None and part.material in stated
        else part
        for part in parts
    )


def _part(material: Material, percent: Decimal) -> Part:
    flags = {Flag(one) for one in material.cautions}
    # What it does in a formula says it as well, where one of the words is the same.
    flags |= {flag for flag in Flag if flag == material.function}
    inci_name = material.inci_name.strip().lower()
    flags |= {flag for flag, names in ((Flag.WATER, WATER), (Flag.LYE, LYE)) if inci_name in names}
    return Part(
        material=material.id,
        name=material.name,
        percent=percent,
        flags=frozenset(flags),
        min_percent=material.min_percent,
        max_percent=material.max_percent,
        category=material.certificate_category,
        valid_until=material.certificate_until,
    )
