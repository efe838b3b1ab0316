"""Containers: what a packaging material holds by water fill, and whether a fill has room in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import UUID

from formulas.capacities import WaterFill, usable_of, water_fill
from formulas.errors import ContainerTooSmall
from formulas.models import Container, Product, WaterFilling
from ledger.access import Actor, material_for
from ledger.entries import EXPLAINED
from ledger.errors import (
    Conflict,
    Invalid,
    NotFound,
    Sentence,
    Stale,
    UnitWrong,
)
from ledger.models import Material
from ledger.quantities import Density, Quantity, parse_temperature
from ledger.roles import Verb

if TYPE_CHECKING:
    from django.db.models import QuerySet

LARGEST_ML = Decimal(10**6)
HUNDRED = Decimal(100)
NO_HEADSPACE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece weighed full of water and empty, as typed."""

    gross: Quantity
    tare: Quantity


def containers_of(actor: Actor) -> "QuerySet[Container]":
    """The maker's containers with their materials. Raises Forbidden."""
    actor.must(Verb.READ)
    return Container.objects.select_related("material").filter(maker_id=actor.maker)


def container_for(actor: Actor, material: UUID | str) -> Container:
    """What the maker knows of a material as a container. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    found = containers_of(actor).filter(material=material_for(actor, material)).first()
    if found is None:
        raise NotFound
    return found


def water_fillings_of(actor: Actor, material: UUID | str) -> "QuerySet[WaterFilling]":
    """The water fills of a container. Raises NotFound, Forbidden."""
    found = container_for(actor, material)
    return WaterFilling.objects.filter(maker_id=actor.maker, container=found)


def set_container(
    actor: Actor,
    *,
    material: UUID | str,
    nominal: Quantity,
    headspace_percent: Decimal,
    version: int | None = None,
) -> Container:
    """Say what a counted material nominally holds, and what must stay empty below its brim.

    `version` is that of the container that was read; None changes whatever is there. Raises
    NotFound, Stale, Invalid for a material by mass, UnitWrong for a nominal that is no volume.
    """
    actor.must(Verb.FORMULATE)
    found = material_for(actor, material)
    _check(found, nominal, headspace_percent)
    Container.objects.bulk_create(
        [
            Container(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                material=found,
                version=0,
                nominal_entered=nominal.entered,
                nominal_ml=nominal.amount.quantize(Decimal("0.000001")),
            )
        ],
        ignore_conflicts=True,
    )
    row = _locked(actor, found)
    if version is not None and row.version != version:
        raise Stale
    row.nominal_entered = nominal.entered
    row.nominal_ml = nominal.amount.quantize(Decimal("0.000001"))
    row.headspace_percent = headspace_percent
    row.version += 1
    _settle(row)
    row.save()
    return row


def record_water_fill(
    actor: Actor,
    *,
    material: UUID | str,
    level: str,
    at: str,
    pieces: Sequence[Piece],
    happened_at: datetime,
) -> WaterFilling:
    """Record pieces of a container filled with water to the brim or to the fill level.

    The latest record of a level counts; a slip is put right by measuring anew. Raises NotFound
    for what is no container yet, Invalid, TemperatureUnreadable, TemperatureOutOfRange, and
    Conflict for a fill level above the brim.
    """
    actor.must(Verb.MAKE)
    found = container_for(actor, material)
    row = _locked(actor, found.material)
    celsius = parse_temperature(at)
    weighed = [_grams(piece, place) for place, piece in enumerate(pieces)]
    filled = water_fill(weighed, celsius)
    if filled.most >= LARGEST_ML:
        raise Invalid("A container holds less than a cubic metre.", pointer="/pieces")
    _keep(row, level, filled)
    row.version += 1
    row.save()
    filling = WaterFilling(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        container=row,
        level=level,
        celsius=celsius.quantize(Decimal("0.01")),
        temperature_entered=at,
        pieces=[
            {"gross": f"{gross:f}", "tare": f"{tare:f}", "millilitres": f"{ml:f}"}
            for (gross, tare), ml in zip(weighed, filled.millilitres, strict=True)
        ],
        mean_ml=filled.mean,
        least_ml=filled.least,
        most_ml=filled.most,
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    filling.save(force_insert=True)
    return filling


def room_of(actor: Actor, packed: Sequence[tuple[UUID, Decimal]]) -> Decimal | None:
    """Millilitres that the containers among some packaging hold together; None if unknown."""
    counts: dict[UUID, Decimal] = {}
    for material, count in packed:
        counts[material] = counts.get(material, Decimal(0)) + count
    rows = Container.objects.filter(
        maker_id=actor.maker, material_id__in=counts, usable_ml__isnull=False
    )
    rooms = [counts[row.material_id] * (row.usable_ml or Decimal(0)) for row in rows]
    return sum(rooms, Decimal(0)) if rooms else None


def check_room(
    actor: Actor, packed: Sequence[tuple[UUID, Decimal]], millilitres: Decimal | None
) -> None:
    """Refuse a fill of so many millilitres that its containers have no room for.

    Raises ContainerTooSmall; nothing where the fill or the room is not known.
    """
    if millilitres is None:
        return
    room = room_of(actor, packed)
    if room is not None and room < millilitres:
        raise _too_small({"room": room, "wanted": millilitres})


def room_of_product(actor: Actor, product: Product) -> Decimal | None:
    """Millilitres that the containers of a product hold; None where that is not known."""
    return room_of(actor, [(item.material_id, item.quantity) for item in product.packaging.all()])


def room_for(
    actor: Actor, product: Product, grams: Decimal | None, density: Density | None
) -> tuple[Decimal, Decimal] | None:
    """Millilitres that so many grams of a product take at a density, and those that there are.

    None where one of them is not known.
    """
    if grams is None or density is None:
        return None
    room = room_of_product(actor, product)
    return None if room is None else (grams / density.grams_per_millilitre, room)


def check_warm_room(
    actor: Actor, product: Product, grams: Decimal | None, density: Density | None
) -> None:
    """Refuse pieces that have no room for what they are to hold, as warm as it is filled.

    `density` is that of the fill: warm bulk takes more room than the product was checked for.
    Raises ContainerTooSmall.
    """
    found = room_for(actor, product, grams, density)
    if found is not None and found[1] < found[0]:
        wanted, room = (f"{one:.2f}" for one in found)
        raise ContainerTooSmall(
            Sentence(
                "At this density a piece takes {wanted} mL, and its container holds {room} mL:"
                " let the bulk cool, fill less, or pack it larger.",
                wanted=wanted,
                room=room,
            ),
            wanted=wanted,
            room=room,
            pointer="/density",
        )


def beyond_nominal(row: Container) -> tuple[Decimal, Decimal] | None:
    """By how many millilitres and percent a container holds more than its nominal; else None.

    Filled by eye to its level, it gives so much away: the usual leak of money.
    """
    mean = by_eye(row)
    if mean is None or mean <= row.nominal_ml:
        return None
    return mean - row.nominal_ml, (mean - row.nominal_ml) * HUNDRED / row.nominal_ml


def by_eye(row: Container) -> Decimal | None:
    """Millilitres in a piece that is filled by eye to its level, on the mean; None if unknown."""
    if row.usable_mean is None and row.brimful_mean is not None:
        return usable_of(row.brimful_mean, row.headspace_percent)
    return row.usable_mean


def _check(material: Material, nominal: Quantity, headspace_percent: Decimal) -> None:
    if not material.counted:
        raise Invalid(
            Sentence(
                "{material} is measured by mass, and a container is counted.",
                material=material.name,
            )
        )
    if nominal.measure != "volume":
        raise UnitWrong(
            'What a container holds is a volume, such as "250 mL".',
            name=material.name,
            pointer="/nominal",
        )
    if nominal.amount >= LARGEST_ML:
        raise Invalid("A container holds less than a cubic metre.", pointer="/nominal")
    if not (headspace_percent.is_finite() and 0 <= headspace_percent < HUNDRED):
        raise Invalid("A headspace is 0 to 100 percent.", pointer="/headspace_percent")


def _locked(actor: Actor, material: Material) -> Container:
    rows = Container.objects.select_for_update(of=("self",), no_key=True)
    row = rows.get(maker_id=actor.maker, material=material)
    row.material = material
    return row


def _grams(piece: Piece, place: int) -> tuple[Decimal, Decimal]:
    for name, quantity in (("gross", piece.gross), ("tare", piece.tare)):
        if quantity.measure != "mass":
            raise UnitWrong(
                'Pieces are weighed: give a mass such as "280.4 g".',
                name="water",
                pointer=f"/pieces/{place}/{name}",
            )
    return piece.gross.amount, piece.tare.amount


def _keep(row: Container, level: str, filled: WaterFill) -> None:
    if level == Container.Level.BRIMFUL:
        row.brimful_mean, row.brimful_least = filled.mean, filled.least
    else:
        row.usable_mean, row.usable_least = filled.mean, filled.least
    brim, usable = row.brimful_mean, row.usable_mean
    if brim is not None and usable is not None and usable > brim:
        raise Conflict(
            Sentence(
                "The fill level holds {usable:f} mL and the brim {brim:f} mL: one of them was"
                " measured wrong.",
                usable=usable.normalize(),
                brim=brim.normalize(),
            ),
            pointer="/pieces",
        )
    _settle(row)


def _settle(row: Container) -> None:
    """What may be filled: as measured, or else the brim less the headspace."""
    row.usable_ml = row.usable_least
    if row.usable_ml is None and row.brimful_least is not None:
        row.usable_ml = usable_of(row.brimful_least, row.headspace_percent)


def _too_small(facts: dict[str, Decimal]) -> ContainerTooSmall:
    rounded = {name: f"{Decimal(value):.2f}" for name, value in facts.items()}
    return ContainerTooSmall(**rounded, pointer="/fill/nominal")


EXPLAINED["product_has_room"] = _too_small
