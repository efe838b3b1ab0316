"""Products: what is sold, in what packaging, and at what price."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from formulas.access import formula_for, version_for
from formulas.containers import check_room
from formulas.labelling import NOTHING_STATED, LabelDraft, set_label
from formulas.models import Formula, Packaging, Product
from formulas.recipes import mass_each_of
from ledger.access import Actor, find, materials_for
from ledger.errors import (
    Invalid,
    Sentence,
    Stale,
    UnitWrong,
    placed,
)
from ledger.ids import same_id
from ledger.models import Material
from ledger.quantities import Quantity, count_of
from ledger.roles import Verb

ZERO = Decimal(0)
MICRO = Decimal("0.000001")
# The figures of the maker's policy: where a client finds each, and what is too much for it.
POINTERS = {
    "minutes_per_batch": "/labour/minutes_per_batch",
    "minutes_per_unit": "/labour/minutes_per_unit",
    "hourly_rate": "/labour/hourly_rate",
    "overhead_per_batch": "/overhead/per_batch",
    "overhead_percent": "/overhead/percent_of_materials",
}
TOO_MUCH = Decimal(10**9)
# Grams or millilitres in one unit, and pieces of packaging for it.
LARGEST_FILL = Decimal(10**6)
MOST_PIECES = 10_000
TOO_MANY_PERCENT = Decimal(1000)


@dataclass(frozen=True, slots=True)
class PackagingDraft:
    """Pieces of a counted material for each unit."""

    material: UUID | str
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class ProductDraft:
    """A product as the maker writes it; money is in the co-op's currency, percents 0 to 100.

    A cost that is left out is none; but from whoever may not see costs it is left as it was. Where
    there are minutes of work, what an hour of it costs is asked for, and may be zero.
    `use` is one of Product.Use or empty, `areas` are of Product.Area.
    """

    name: str
    formula: UUID | str
    nominal: Quantity
    overfill_percent: Decimal = ZERO
    packaging: Sequence[PackagingDraft] = ()
    minutes_per_batch: Decimal = ZERO
    minutes_per_unit: Decimal = ZERO
    hourly_rate: Decimal | None = None
    overhead_per_batch: Decimal | None = None
    overhead_percent: Decimal | None = None
    use: str = ""
    areas: Sequence[str] = ()
    label: LabelDraft = NOTHING_STATED


def add_product(actor: Actor, draft: ProductDraft) -> Product:
    """Add a product, and open the counted material that filling it makes.

    Raises Forbidden, NotFound, UnitWrong for a fill by count or packaging by mass, and Invalid,
    also for minutes of work without what an hour costs.
    """
    actor.must(Verb.FORMULATE)
    formula = formula_for(actor, draft.formula, pointer="/formula")
    packaging = _packaging(actor, draft)
    material = Material(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        measured_by=Material.MeasuredBy.COUNT,
        cost_class="product",
        cost_formula="lot",
    )
    product = Product(coop_id=actor.coop_id, maker_id=actor.maker, material=material)
    _set(actor, product, formula, draft)
    _check_room(actor, product, packaging)
    material.save(force_insert=True)
    product.material = material
    product.save(force_insert=True)
    _write_packaging(product, packaging)
    return product


def change_product(
    actor: Actor, *, product: UUID | str, expected_version: int | None, draft: ProductDraft
) -> Product:
    """Change a product; batches keep the fill and packaging that they were planned with.

    Raises Stale if somebody changed it since it was read, Invalid for another formula, and what
    `add_product` raises.
    """
    actor.must(Verb.FORMULATE)
    rows = Product.objects.select_for_update(of=("self",)).select_related("material", "formula")
    found = find(rows.filter(maker_id=actor.maker), product)
    if expected_version is not None and found.version != expected_version:
        raise Stale
    if not same_id(draft.formula, found.formula_id):
        raise Invalid("A product keeps its formula: add a new product.", pointer="/formula")
    packaging = _packaging(actor, draft)
    _set(actor, found, found.formula, draft)
    _check_room(actor, found, packaging)
    found.version += 1
    found.material.version += 1
    found.material.save()
    found.save()
    Packaging.objects.filter(product=found).delete()
    _write_packaging(found, packaging)
    return found


def _packaging(actor: Actor, draft: ProductDraft) -> list[tuple[Material, Quantity, Decimal]]:
    materials = materials_for(
        actor,
        [(item.material, f"/packaging/{n}/material") for n, item in enumerate(draft.packaging)],
    )
    found = []
    for place, (item, material) in enumerate(zip(draft.packaging, materials, strict=True)):
        if not material.counted:
            raise Invalid(
                Sentence(
                    "{material} is measured by mass, and packaging is counted.",
                    material=material.name,
                ),
                pointer=f"/packaging/{place}/material",
            )
        if not material.stocked:
            raise Invalid(
                Sentence(
                    "{material} is not stocked, and packaging is counted out of the store: name a"
                    " stocked material, or leave it out.",
                    material=material.name,
                ),
                pointer=f"/packaging/{place}/material",
            )
        with placed(f"/packaging/{place}/quantity"):
            count = count_of(item.quantity, name=material.name)
        if count > MOST_PIECES:
            raise Invalid(
                Sentence("A unit takes at most {most_pieces} pieces.", most_pieces=MOST_PIECES),
                pointer=f"/packaging/{place}/quantity",
            )
        found.append((material, item.quantity, count))
    return found


def _set(actor: Actor, product: Product, formula: Formula, draft: ProductDraft) -> None:
    check_policy({name: getattr(draft, name) for name in POINTERS})
    works = draft.minutes_per_batch or draft.minutes_per_unit
    if works and draft.hourly_rate is None and actor.may(Verb.SEE_COSTS):
        raise Invalid(
            "There are minutes of work here: say what an hour of it costs, or write 0.",
            pointer=POINTERS["hourly_rate"],
        )
    if not draft.overfill_percent.is_finite() or not 0 <= draft.overfill_percent <= 100:
        raise Invalid("An overfill is 0 to 100 percent.", pointer="/fill/overfill_percent")
    nominal = draft.nominal
    if nominal.measure == "count":
        raise UnitWrong(
            'A fill is a volume or a mass, such as "250 mL" or "100 g".',
            name=draft.name,
            pointer="/fill/nominal",
        )
    if nominal.amount > LARGEST_FILL:
        raise Invalid("A fill is at most a tonne or 1,000 L.", pointer="/fill/nominal")
    amount = nominal.amount.quantize(MICRO)
    product.name, product.formula = draft.name, formula
    product.fill_entered = nominal.entered
    product.fill_ml = amount if nominal.measure == "volume" else None
    product.fill_grams = amount if nominal.measure == "mass" else None
    product.overfill_percent = draft.overfill_percent
    product.use, product.areas = _use_and_areas(draft)
    set_label(product, draft.label)
    for name in POINTERS:
        figure = getattr(draft, name)
        if figure is not None or actor.may(Verb.SEE_COSTS):
            setattr(product, name, figure or ZERO)
    product.material.name = draft.name
    product.material.mass_each = mass_each_of(product, version_for(actor, formula.id))


def _use_and_areas(draft: ProductDraft) -> tuple[str, list[str]]:
    """How and where it is used, each area once. Raises Invalid."""
    if draft.use not in {"", *Product.Use.values}:
        raise Invalid(
            Sentence("A use is one of: {uses}.", uses=", ".join(Product.Use.values)), pointer="/use"
        )
    for place, area in enumerate(draft.areas):
        if area not in Product.Area.values:
            named = ", ".join(Product.Area.values)
            raise Invalid(
                Sentence("An area is one of: {named}.", named=named), pointer=f"/areas/{place}"
            )
    return draft.use, [area for area in Product.Area.values if area in draft.areas]


def _check_room(
    actor: Actor, product: Product, packaging: Sequence[tuple[Material, Quantity, Decimal]]
) -> None:
    """Refuse a fill that its containers have no room for, where their capacity was measured."""
    version, wanted = version_for(actor, product.formula_id), product.fill_ml
    if wanted is None and version.density is not None and product.fill_grams is not None:
        wanted = product.fill_grams / version.density
    if wanted is not None:
        wanted = wanted * (100 + product.overfill_percent) / 100
    check_room(actor, [(material.id, count) for material, _, count in packaging], wanted)


def check_policy(figures: Mapping[str, Decimal | None]) -> None:
    """Refuse a figure of the policy for labour and overhead that cannot be. Raises Invalid."""
    for name, pointer in POINTERS.items():
        figure = figures[name] or ZERO
        most = TOO_MANY_PERCENT if name == "overhead_percent" else TOO_MUCH
        if not figure.is_finite() or not 0 <= figure < most:
            raise Invalid(
                Sentence("This is zero or more, and less than {most}.", most=most), pointer=pointer
            )


def _write_packaging(
    product: Product, packaging: Sequence[tuple[Material, Quantity, Decimal]]
) -> None:
    Packaging.objects.bulk_create(
        Packaging(
            coop_id=product.coop_id,
            maker_id=product.maker_id,
            product=product,
            position=place,
            material=material,
            entered=quantity.entered,
            quantity=count,
        )
        for place, (material, quantity, count) in enumerate(packaging)
    )
