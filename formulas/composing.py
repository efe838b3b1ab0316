"""Writing formulas: the first version, and every version after it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db import connection
from django.db.models import F

from formulas import composition
from formulas.alternates import AlternateDraft, check_alternates, keep_alternates
from formulas.composition import Balance, Composed, Fixed, Ingredient, Kind, Recipe, ToEffect
from formulas.errors import FormulaCycle, PercentNot100
from formulas.infusing import Infusion, process_loss
from formulas.judging import Window
from formulas.models import Formula, FormulaVersion, Line, Phase, Product
from formulas.models import Window as WindowRow
from formulas.recipes import mass_each_of
from ledger.access import Actor, find, find_all, materials_for
from ledger.entries import EXPLAINED, explained
from ledger.errors import (
    Invalid,
    Sentence,
    Stale,
)
from ledger.models import Material
from ledger.quantities import Density
from ledger.roles import Verb

# Shelf lives are days; ten years is more than any cosmetic keeps, and a slip beyond it.
LONGEST_SHELF_LIFE_DAYS = 3650
# What a version keeps of its draft as it stands there.
AS_WRITTEN = ("rework_max_percent", "shelf_life_days", "fill_within_days", "note")


@dataclass(frozen=True, slots=True)
class LineDraft:
    """A line as the maker writes it: of a material or of another formula, by its id.

    `max_celsius` is for what heat harms: it goes in once the batch is no hotter, in degC.
    `active_percent` is what of it is active matter; `alternates` may stand in for it, in turn.
    What is `spent` is strained out of an infusion again.
    """

    amount: Fixed | ToEffect | Balance
    material: UUID | str | None = None
    formula: UUID | str | None = None
    max_celsius: Decimal | None = None
    active_percent: Decimal | None = None
    alternates: Sequence[AlternateDraft] = ()
    spent: bool = False


@dataclass(frozen=True, slots=True)
class PhaseDraft:
    """Lines that are added together."""

    name: str
    lines: Sequence[LineDraft]


@dataclass(frozen=True, slots=True)
class Draft:
    """One version as the maker writes it. The density is that of what is made.

    A window says what a batch should measure, one for each measure. Bulk that is not filled within
    `fill_within_days` of its making is looked at first. The loss of an infusion follows from its
    spent lines, so that it states none. `note` says why this version is written.
    """

    name: str
    phases: Sequence[PhaseDraft]
    process_loss_percent: Decimal | None = None
    infusion: Infusion | None = None
    rework_max_percent: Decimal | None = None
    density: Density | None = None
    shelf_life_days: int | None = None
    fill_within_days: int | None = None
    windows: Sequence[Window] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class _Named:
    """A line with its place and what it names found."""

    phase: int
    pointer: str
    amount: Fixed | ToEffect | Balance
    material: Material | None
    component: Formula | None
    draft: LineDraft

    @property
    def ingredient(self) -> Ingredient:
        if self.component is not None:
            return Ingredient(Kind.FORMULA, str(self.component.id))
        return Ingredient(Kind.MATERIAL, str(self.material.id if self.material else ""))


def write_formula(actor: Actor, draft: Draft) -> FormulaVersion:
    """Write a new formula with its first version, and open the material that it makes.

    Raises Forbidden, NotFound, PercentNot100, SecondBalance, OverMaximum and Invalid, each with
    its pointer.
    """
    actor.must(Verb.FORMULATE)
    lines, composed = _settle(actor, draft)
    loss = _loss_of(draft, lines, composed)
    material = Material(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        measured_by=Material.MeasuredBy.MASS,
        cost_class="made",
        cost_formula="lot",
    )
    _tell_material(material, draft)
    material.save(force_insert=True)
    formula = Formula(coop_id=actor.coop_id, maker_id=actor.maker, name=draft.name)
    formula.material = material
    formula.save(force_insert=True)
    return _write_version(actor, formula, draft, loss, lines, composed)


def new_version(
    actor: Actor, *, formula: UUID | str, expected_version: int | None, draft: Draft
) -> FormulaVersion:
    """Write the next version of a formula; batches keep the one they were planned with.

    Raises Stale if the version in force is no longer the one that was read, FormulaCycle, and
    what `write_formula` raises.
    """
    actor.must(Verb.FORMULATE)
    with connection.cursor() as cursor:
        cursor.execute("select formulas_take_turn(%s)", [actor.maker])
    rows = Formula.objects.select_for_update(of=("self",)).select_related("material")
    found = find(rows.filter(maker_id=actor.maker), formula)
    if expected_version is not None and found.version != expected_version:
        raise Stale
    lines, composed = _settle(actor, draft)
    loss = _loss_of(draft, lines, composed)
    _refuse_cycle(found, draft.name, lines, composed)
    found.name, found.version = draft.name, found.version + 1
    _tell_material(found.material, draft)
    found.material.version += 1
    found.material.save()
    with explained():
        found.save(update_fields=["name", "version"])
    version = _write_version(actor, found, draft, loss, lines, composed)
    _tell_products(version)
    return version


def _settle(actor: Actor, draft: Draft) -> tuple[list[_Named], tuple[Composed, ...]]:
    """Find what the lines name, and make them 100 %."""
    for name in ("shelf_life_days", "fill_within_days"):
        days: int | None = getattr(draft, name)
        if days is not None and not 0 < days <= LONGEST_SHELF_LIFE_DAYS:
            raise Invalid(
                Sentence("These are 1 to {most} days.", most=LONGEST_SHELF_LIFE_DAYS),
                pointer=f"/{name}",
            )
    measures = [window.measure for window in draft.windows]
    for place, measure in enumerate(measures):
        if measure in measures[:place]:
            raise Invalid("Each measure has one window.", pointer=f"/windows/{place}/measure")
    if not any(phase.lines for phase in draft.phases):
        raise PercentNot100(total=0, pointer="/phases")
    lines = _named(actor, draft)
    check_alternates(actor, [(line.pointer, line.material, line.draft) for line in lines])
    composed = composition.compose(
        [composition.Line(line.ingredient, line.amount, line.pointer) for line in lines]
    )
    return lines, composed


def _loss_of(draft: Draft, lines: Sequence[_Named], composed: Sequence[Composed]) -> Decimal:
    """The process loss in percent: as stated, or as it follows from what is spent."""
    spent = [
        (f"{line.pointer}/spent", settled.percent)
        for line, settled in zip(lines, composed, strict=True)
        if line.draft.spent
    ]
    return process_loss(draft.process_loss_percent, draft.infusion, spent)


def _named(actor: Actor, draft: Draft) -> list[_Named]:
    placed = [
        (phase, f"/phases/{phase}/lines/{place}", line)
        for phase, group in enumerate(draft.phases)
        for place, line in enumerate(group.lines)
    ]
    for _, pointer, line in placed:
        if (line.material is None) == (line.formula is None):
            raise Invalid("A line names a material or a formula, one of them.", pointer=pointer)
    of_material = [(p, line.material) for _, p, line in placed if line.material is not None]
    of_formula = [(p, line.formula) for _, p, line in placed if line.formula is not None]
    materials = dict(
        zip(
            (pointer for pointer, _ in of_material),
            materials_for(actor, [(id, f"{pointer}/material") for pointer, id in of_material]),
            strict=True,
        )
    )
    components = dict(
        zip(
            (pointer for pointer, _ in of_formula),
            find_all(
                Formula.objects.filter(maker_id=actor.maker),
                [(id, f"{pointer}/formula") for pointer, id in of_formula],
            ),
            strict=True,
        )
    )
    _check_materials(materials)
    return [
        _Named(phase, pointer, line.amount, materials.get(pointer), components.get(pointer), line)
        for phase, pointer, line in placed
    ]


def _check_materials(materials: dict[str, Material]) -> None:
    """A line is by mass, and what a formula makes is named by its formula, so that nothing can
    contain itself unseen."""
    own = [material.id for material in materials.values() if material.maker_id is not None]
    makers = {made.material_id: made.name for made in Formula.objects.filter(material_id__in=own)}
    for pointer, material in materials.items():
        if material.counted:
            raise Invalid(
                Sentence(
                    "{material} is counted, and a line is a percentage by mass; packaging belongs"
                    " to a product.",
                    material=material.name,
                ),
                pointer=f"{pointer}/material",
            )
        if material.id in makers:
            raise Invalid(
                Sentence(
                    "{material} is made: name the formula {formula!r} instead.",
                    material=material.name,
                    formula=makers[material.id],
                ),
                pointer=f"{pointer}/material",
            )


def _refuse_cycle(
    formula: Formula, name: str, lines: Sequence[_Named], composed: Sequence[Composed]
) -> None:
    """Walk down from the new lines through the versions in force; PostgreSQL checks it again."""
    if all(line.component is None for line in lines):
        return
    names, below = _components_in_force(formula.maker_id)
    names[str(formula.id)] = name
    recipes = {id: Recipe(tuple(_as_lines(below.get(id, [])))) for id in names}
    recipes[str(formula.id)] = Recipe(tuple(composed))
    try:
        composition.parents_first(str(formula.id), recipes)
    except FormulaCycle as refusal:
        loop = refusal.facts["formulas"]
        through = next(line for line in lines if line.ingredient.id == loop[1])
        raise FormulaCycle(
            path=" → ".join(names[id] for id in loop),
            formulas=loop,
            pointer=f"{through.pointer}/formula",
        ) from None


def _components_in_force(maker_id: UUID) -> tuple[dict[str, str], dict[str, list[str]]]:
    """The names of a maker's formulas, and which of them each contains by its version in force."""
    names = {str(id): name for id, name in _ids_and_names(maker_id)}
    below: dict[str, list[str]] = {}
    edges = Line.objects.filter(
        maker_id=maker_id,
        component__isnull=False,
        version__number=F("version__formula__version"),
    ).values_list("version__formula_id", "component_id")
    for parent, component in edges:
        below.setdefault(str(parent), []).append(str(component))
    return names, below


def _ids_and_names(maker_id: UUID) -> Iterable[tuple[UUID, str]]:
    return Formula.objects.filter(maker_id=maker_id).values_list("id", "name")


def _as_lines(components: Sequence[str]) -> Iterable[Composed]:
    return (Composed(Ingredient(Kind.FORMULA, id), Decimal(0)) for id in components)


def _tell_material(material: Material, draft: Draft) -> None:
    """The made material has the name, density and shelf life of the version in force."""
    material.name = draft.name
    material.density = draft.density and draft.density.grams_per_millilitre
    material.density_at = draft.density and draft.density.celsius
    material.density_entered = draft.density.entered if draft.density else ""
    material.shelf_life_days = draft.shelf_life_days


def _tell_products(version: FormulaVersion) -> None:
    """What a unit of each product weighs goes by the density of the version in force.

    A product is locked first, so that whoever changes its fill meanwhile is heard.
    """
    rows = Product.objects.select_for_update(of=("self",), no_key=True).order_by("id")
    products = rows.select_related("material").filter(formula_id=version.formula_id)
    changed = []
    for product in products:
        mass_each, material = mass_each_of(product, version), product.material
        if material.mass_each != mass_each:
            material.mass_each, material.version = mass_each, material.version + 1
            changed.append(material)
    Material.objects.bulk_update(changed, ["mass_each", "version"])


def _write_version(
    actor: Actor,
    formula: Formula,
    draft: Draft,
    loss: Decimal,
    lines: Sequence[_Named],
    composed: Sequence[Composed],
) -> FormulaVersion:
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    version = FormulaVersion(
        **own,
        formula=formula,
        number=formula.version,
        process_loss_percent=loss,
        retention=draft.infusion and draft.infusion.retention,
        evaporation_percent=draft.infusion and draft.infusion.evaporation_percent,
        density=draft.density and draft.density.grams_per_millilitre,
        density_at=draft.density and draft.density.celsius,
        density_entered=draft.density.entered if draft.density else "",
        **{name: getattr(draft, name) for name in AS_WRITTEN},
        person_id=actor.person_id,
    )
    version.save(force_insert=True)
    _write_windows(version, draft.windows)
    phases = Phase.objects.bulk_create(
        Phase(**own, version=version, position=place, name=group.name)
        for place, group in enumerate(draft.phases)
    )
    with explained():
        rows = Line.objects.bulk_create(
            Line(
                **own,
                version=version,
                phase=phases[line.phase],
                position=place,
                kind=_kind(settled),
                material=line.material,
                component=line.component,
                percent=settled.percent,
                max_percent=settled.max_percent,
                max_celsius=line.draft.max_celsius,
                active_percent=line.draft.active_percent,
                spent=line.draft.spent,
            )
            for place, (line, settled) in enumerate(zip(lines, composed, strict=True))
        )
    keep_alternates(zip(rows, (line.draft.alternates for line in lines), strict=True))
    return version


def _write_windows(version: FormulaVersion, windows: Sequence[Window]) -> None:
    if not windows:
        return
    WindowRow.objects.bulk_create(
        WindowRow(
            coop_id=version.coop_id,
            maker_id=version.maker_id,
            version=version,
            measure=window.measure,
            target=window.target,
            low=window.low,
            high=window.high,
            text=window.text,
        )
        for window in windows
    )


def _kind(line: Composed) -> Line.Kind:
    if line.is_balance:
        return Line.Kind.BALANCE
    return Line.Kind.FIXED if line.max_percent is None else Line.Kind.TO_EFFECT


# What PostgreSQL refuses by itself, for whoever comes past the checks above.
EXPLAINED["formula_percent_100"] = lambda facts: PercentNot100(total=facts.get("total"))
EXPLAINED["formula_infusion_follows"] = lambda facts: Invalid(
    "The loss of an infusion follows from its spent lines, retention and evaporation.",
    pointer="/infusion",
)
EXPLAINED["formula_cycle"] = lambda facts: FormulaCycle(path=f"{facts.get('formula')} → …")
