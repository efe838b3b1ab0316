"""What is given away by filling containers by eye: of a piece, and of a year's pieces."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import products_of
from formulas.containers import by_eye, containers_of
from formulas.fill_targets import Giveaway, above
from formulas.label_volumes import for_labels
from formulas.models import Product
from formulas.unit_weighings import units_of_a_year
from formulas.what_if import costs_per_gram
from ledger.access import Actor
from ledger.measuring import density_of
from ledger.roles import Verb

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Leak:
    """A product whose containers hold more than its label says.

    `millilitres` are of one piece, filled by eye to the level of its containers. The giveaways are
    grams of one piece and of as many as in the last year; None without a density. Their worth is
    that of the bulk's materials as they cost now; None where that is not known.
    """

    product: Product
    millilitres: Decimal
    piece: Giveaway | None
    year: Giveaway | None

    @property
    def order(self) -> tuple[Decimal, Decimal, str]:
        """The dearest of a year first, then what gives most away."""
        money = self.year.money if self.year else None
        return -(money or ZERO), -self.millilitres, self.product.name


def leaks(actor: Actor, *, now: datetime, material: UUID | None = None) -> list[Leak]:
    """What products give away in containers filled by eye, the dearest first.

    With a `material`, of the products that are packed in it. A fixed number of queries, however
    many there are. Raises Forbidden.
    """
    held = {row.material_id: mean for row in containers_of(actor) if (mean := by_eye(row))}
    packed_in = held.keys() if material is None else held.keys() & {material}
    rows = products_of(actor).filter(packaging__material_id__in=packed_in).distinct()
    beyond = [(product, _beyond(product, held)) for product in rows]
    leaking = [(product, found) for product, found in beyond if found]
    return sorted(_priced(actor, leaking, now), key=lambda leak: leak.order)


def _beyond(product: Product, held: dict[UUID, Decimal]) -> Decimal:
    """Millilitres by which the containers of a piece hold more than its label says; zero where
    they do not, or where a fill by mass has no density."""
    room = sum(
        (item.quantity * held.get(item.material_id, ZERO) for item in product.packaging.all()), ZERO
    )
    nominal = product.fill_ml
    if nominal is None:
        density = for_labels(density_of(product.formula.material))
        nominal = room if density is None else product.fill_grams / density.grams_per_millilitre
    return above(nominal, room)


def _priced(
    actor: Actor, leaking: Collection[tuple[Product, Decimal]], now: datetime
) -> list[Leak]:
    units = units_of_a_year(actor, [product for product, _ in leaking], now)
    costs: dict[UUID, Fraction | None] = {}
    if leaking and actor.may(Verb.SEE_COSTS):
        costs = costs_per_gram(actor)
    found = []
    for product, millilitres in leaking:
        density = for_labels(density_of(product.formula.material))
        cost = costs.get(product.formula_id)
        if density is None:
            found.append(Leak(product, millilitres, None, None))
            continue
        grams = millilitres * density.grams_per_millilitre
        value = None if cost is None else Decimal(cost.numerator) / cost.denominator
        year = Giveaway(grams, units[product.id], value)
        found.append(Leak(product, millilitres, Giveaway(grams, 1, value), year))
    return found
