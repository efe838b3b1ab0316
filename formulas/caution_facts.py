"""What the pure cautions are told of a formula, a batch, a weighing and a product."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import standing
from formulas.cautions import Caution, Facts, Flag, Part, Step, cautions
from formulas.composition import explode
from formulas.judging import Measure, Window, is_outside, told
from formulas.measurements import judged, standing_rows, windows_of
from formulas.models import Batch, FormulaVersion, Measurement, Product, Weighing
from formulas.recipes import recipes_under
from formulas.weighing import Weighed
from ledger.costing import round_stored
from ledger.lots import last_usable_day
from ledger.models import Material

WATER = {"aqua", "water", "eau"}


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
    """The cautions of a planned batch whose lines and picks are at hand, with no query."""
    undated = [
        pick.lot.code
        for line in batch.lines.all()
        for pick in line.picks.all()
        if last_usable_day(pick.lot) is None
    ]
    parts = tuple(_part(line.material, line.percent) for line in batch.lines.all())
    return cautions(
        Step.PLAN, Facts(parts=parts, day=batch.planned_for, undated_lots=sorted(set(undated)))
    )


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
    recipes = recipes_under(version)
    grams = explode(str(version.formula_id), Fraction(100), recipes)
    materials = Material.objects.in_bulk([UUID(id) for id in grams])
    return tuple(_part(materials[UUID(id)], round_stored(part)) for id, part in grams.items())


def _part(material: Material, percent: Decimal) -> Part:
    flags = {Flag(one) for one in material.cautions}
    # What it does in a formula says it as well, where one of the words is the same.
    flags |= {flag for flag in Flag if flag == material.function}
    if material.inci_name.strip().lower() in WATER:
        flags.add(Flag.WATER)
    return Part(
        name=material.name,
        percent=percent,
        flags=frozenset(flags),
        min_percent=material.min_percent,
        max_percent=material.max_percent,
        category=material.certificate_category,
        valid_until=material.certificate_until,
    )
