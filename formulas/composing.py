"""Writing formulas: the first version, and every version after it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import F

from formulas import composition
from formulas.alternates import keep_alternates
from formulas.composition import Composed, Ingredient, Kind, Recipe
from formulas.drafts import AtHand, Draft, Named, Settled, named_in, settle
from formulas.errors import FormulaCycle, PercentNot100
from formulas.judging import Window
from formulas.models import Formula, FormulaVersion, Line, Phase, Product
from formulas.models import Window as WindowRow
from formulas.recipes import mass_each_of
from ledger.access import Actor, find
from ledger.entries import EXPLAINED, explained
from ledger.errors import Invalid, Stale
from ledger.models import Material
from ledger.roles import Verb

# What a version keeps of its draft as it stands there.
AS_WRITTEN = ("rework_max_percent", "shelf_life_days", "fill_within_days", "note")


@dataclass(frozen=True, slots=True)
class NewFormula:
    """A formula that was looked at, ready to be written."""

    formula: Formula
    settled: Settled


def write_formula(actor: Actor, draft: Draft) -> FormulaVersion:
    """Write a new formula with its first version, and open the material that it makes.

    Raises Forbidden, NotFound, PercentNot100, SecondBalance, OverMaximum and Invalid, each with
    its pointer.
    """
    actor.must(Verb.FORMULATE)
    (version,) = write_each(actor, [new_formula(actor, draft, named_in(actor, [draft]))])
    return version


def new_formula(actor: Actor, draft: Draft, at_hand: AtHand) -> NewFormula:
    """Look at a formula before it is written; others that are written with it or after it may name
    it by its id. Nothing is asked of the database where no line has alternates.

    Raises what `write_formula` raises.
    """
    actor.must(Verb.FORMULATE)
    settled = settle(actor, draft, at_hand)
    material = Material(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        measured_by=Material.MeasuredBy.MASS,
        cost_class="made",
        cost_formula="lot",
    )
    _tell_material(material, draft)
    formula = Formula(coop_id=actor.coop_id, maker_id=actor.maker, name=draft.name)
    formula.material = material
    at_hand.formulas[formula.id] = formula
    return NewFormula(formula, settled)


def write_each(actor: Actor, new: Sequence[NewFormula]) -> list[FormulaVersion]:
    """Write formulas that were looked at, all of them in a fixed number of statements, or none.

    Raises Forbidden, and what PostgreSQL refuses.
    """
    actor.must(Verb.FORMULATE)
    Material.objects.bulk_create(one.formula.material for one in new)
    Formula.objects.bulk_create(one.formula for one in new)
    return _write_versions(actor, [(one.formula, one.settled) for one in new])


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
    settled = settle(actor, draft, named_in(actor, [draft]))
    _refuse_cycle(found, draft.name, settled.lines, settled.composed)
    found.name, found.version = draft.name, found.version + 1
    _tell_material(found.material, draft)
    found.material.version += 1
    found.material.save()
    with explained():
        found.save(update_fields=["name", "version"])
    (version,) = _write_versions(actor, [(found, settled)])
    _tell_products(version)
    return version


def _refuse_cycle(
    formula: Formula, name: str, lines: Sequence[Named], composed: Sequence[Composed]
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


def _write_versions(
    actor: Actor, settled: Sequence[tuple[Formula, Settled]]
) -> list[FormulaVersion]:
    """The version in force of each of these formulas, with all that belongs to it."""
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    versions = [_version(actor, formula, one) for formula, one in settled]
    written = [(version, one) for version, (_, one) in zip(versions, settled, strict=True)]
    FormulaVersion.objects.bulk_create(versions)
    WindowRow.objects.bulk_create(
        row for version, one in written for row in _windows(version, one.draft.windows)
    )
    phases = [
        [
            Phase(**own, version=version, position=place, name=group.name)
            for place, group in enumerate(one.draft.phases)
        ]
        for version, one in written
    ]
    Phase.objects.bulk_create(phase for within in phases for phase in within)
    lines = [
        (_line(own, version, within[line.phase], place, line, composed), line.draft.alternates)
        for (version, one), within in zip(written, phases, strict=True)
        for place, (line, composed) in enumerate(zip(one.lines, one.composed, strict=True))
    ]
    with explained():
        # In one statement, since those of a version are added up when it is over.
        Line.objects.bulk_create(line for line, _ in lines)
    keep_alternates(lines)
    return versions


def _version(actor: Actor, formula: Formula, settled: Settled) -> FormulaVersion:
    draft = settled.draft
    return FormulaVersion(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        formula=formula,
        number=formula.version,
        process_loss_percent=settled.loss,
        retention=draft.infusion and draft.infusion.retention,
        evaporation_percent=draft.infusion and draft.infusion.evaporation_percent,
        density=draft.density and draft.density.grams_per_millilitre,
        density_at=draft.density and draft.density.celsius,
        density_entered=draft.density.entered if draft.density else "",
        **{name: getattr(draft, name) for name in AS_WRITTEN},
        person_id=actor.person_id,
    )


def _line(
    own: Mapping[str, Any],
    version: FormulaVersion,
    phase: Phase,
    place: int,
    line: Named,
    settled: Composed,
) -> Line:
    return Line(
        **own,
        version=version,
        phase=phase,
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


def _windows(version: FormulaVersion, windows: Sequence[Window]) -> Iterable[WindowRow]:
    return (
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
