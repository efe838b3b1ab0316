"""What the pure cautions are told of a formula, a batch, a weighing and a product."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import standing
from formulas.cautions import Caution, Facts, Flag, Part, Step, cautions
from formulas.composition import Recipe, explode
from formulas.judging import Measure, Window, is_outside, told
from formulas.measurements import judged, standing_rows, windows_of
from formulas.models import Batch, FormulaVersion, Measurement, Product, Weighing
from formulas.recipes import composed, intermediates, recipes_below, recipes_under
from formulas.weighing import Weighed
from ledger.costing import round_stored
from ledger.lots import last_usable_day
from ledger.models import Material

WATER = {"aqua", "water", "eau"}
LYE = {"sodium hydroxide", "potassium hydroxide"}


def of_formula(version: FormulaVersion) -> tuple[Caution, ...]:
    """The cautions of a formula, through its intermediates as they are in force."""
    return cautions(Step.FORMULA, Facts(parts=_parts_under(version)))


def of_product(product: Product, version: FormulaVersion) -> tuple[Caution, ...]:
    """The cautions of a product, by its name and use and by the version in force."""
    facts = Facts(
        parts=_parts_under(version),
        product_name=product.name,
        use=product.use,
        areas=product.areas,
    )
    return cautions(Step.PRODUCT, facts)


def of_plan(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of a planned batch whose lines and picks are at hand.

    Its intermediates are opened as they are in force, in two queries; else there is none.
    """
    undated = [
        pick.lot.code
        for line in batch.lines.all()
        for pick in line.picks.all()
        if last_usable_day(pick.lot) is None
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
    """The cautions of what was just weighed in."""
    material = done.lot.material
    additions = (material.name,) if done.line is None and done.weighing.quantity > 0 else ()
    parts = (_part(material, Decimal(0)),)
    return cautions(Step.WEIGH, Facts(parts=parts, additions=additions))


def of_measurement(row: Measurement, windows: dict[Measure, Window]) -> tuple[Caution, ...]:
    """The cautions of what was just measured."""
    return cautions(Step.MEASURE, _measured([row], windows))


def of_finish(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of a batch at its end, by its last measurements and its additions."""
    last = {}
    for row in sorted(standing_rows(batch), key=lambda row: (row.happened_at, row.id)):
        last[row.measure] = row
    facts = _measured(last.values(), windows_of(batch.version))
    unlisted = Weighing.objects.filter(batch=batch, line__isnull=True)
    added = list(standing(unlisted).select_related("lot__material").order_by("id"))
    kept = {one.lot.material.name: Decimal(0) for one in added}
    for one in added:
        kept[one.lot.material.name] += one.quantity
    additions = tuple(name for name, grams in kept.items() if grams > 0)
    return cautions(
        Step.FINISH,
        Facts(celsius=facts.celsius, ph_outside=facts.ph_outside, additions=additions),
    )


def _measured(rows: Iterable[Measurement], windows: dict[Measure, Window]) -> Facts:
    celsius, outside = None, ""
    for row in rows:
        if row.measure == Measure.TEMPERATURE:
            celsius = row.value
        if row.measure == Measure.PH and is_outside(judged(row, windows)):
            outside = told(windows.get(Measure.PH), row.value)
    return Facts(celsius=celsius, ph_outside=outside)


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


def _part(material: Material, percent: Decimal) -> Part:
    flags = {Flag(one) for one in material.cautions}
    # What it does in a formula says it as well, where one of the words is the same.
    flags |= {flag for flag in Flag if flag == material.function}
    inci_name = material.inci_name.strip().lower()
    flags |= {flag for flag, names in ((Flag.WATER, WATER), (Flag.LYE, LYE)) if inci_name in names}
    return Part(
        name=material.name,
        percent=percent,
        flags=frozenset(flags),
        min_percent=material.min_percent,
        max_percent=material.max_percent,
        category=material.certificate_category,
        valid_until=material.certificate_until,
    )
