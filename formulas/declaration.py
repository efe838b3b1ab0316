"""What a label says a product is made of, reckoned from masses and what materials state.

Descending order by mass as added; what is below 1 %, in the US at 1 % too, after that in any order;
colourants last: Regulation (EC) No 1223/2009 Art 19(1)(g), and 21 CFR 701.3 (a) and (f). Fragrance
allergens: Annex III of that regulation as amended by Regulation (EU) 2023/1545.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

from formulas.errors import (
    CompositionMissing,
    InciMissing,
    NothingDeclared,
    WaterLostTooMuch,
)
from ledger.errors import Sentence

ONE_PERCENT: Final = Fraction(1)
MICRO: Final = Decimal("0.000001")


class Market(StrEnum):
    """Whose rules and whose names the label follows."""

    EU = "eu"
    US = "us"


class Group(StrEnum):
    """Where an ingredient may stand: in fixed order, in any order after those, or last."""

    ABOVE = "above_1_percent"
    UP_TO = "up_to_1_percent"
    COLOURANT = "colourant"


# Above these an allergen is named; at them it need not be.
NAMED_ABOVE: Final[Mapping[str, Fraction]] = {
    "leave_on": Fraction(1, 1000),
    "rinse_off": Fraction(1, 100),
}
# Names of one thing: the EU's and those of the US.
_SAME: Final[tuple[tuple[str, str, frozenset[str]], ...]] = (
    ("Aqua", "Water", frozenset({"aqua", "water", "eau", "aqua/water", "water/aqua"})),
    ("Parfum", "Fragrance", frozenset({"parfum", "fragrance", "perfume"})),
)
_WATER: Final = "aqua"
_COLOUR_INDEX: Final = re.compile(r"ci ?\d{5}\b")
_LYE: Final = {"sodium hydroxide", "potassium hydroxide"}


@dataclass(frozen=True, slots=True)
class Part:
    """So many percent by mass of something with an INCI name."""

    inci_name: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Stated:
    """What a material states of itself: one INCI name, or parts that make 100 %, and allergens."""

    name: str
    inci_name: str = ""
    parts: tuple[Part, ...] = ()
    allergens: tuple[Part, ...] = ()
    colourant: bool = False
    absent: bool = False


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One name of the declaration; `percent` is exact, of the finished product."""

    inci_name: str
    percent: Fraction
    group: Group
    materials: tuple[str, ...]

    @property
    def shown(self) -> Decimal:
        return shown(self.percent)


@dataclass(frozen=True, slots=True)
class Allergen:
    """A fragrance allergen summed over all materials, and whether it must be named."""

    inci_name: str
    percent: Fraction
    named: bool


@dataclass(frozen=True, slots=True)
class Declaration:
    """The ingredients in their order, the allergens, and what the reader must know of both."""

    ingredients: tuple[Ingredient, ...]
    allergens: tuple[Allergen, ...]
    threshold: Fraction
    notes: tuple[str, ...]

    @property
    def text(self) -> str:
        return ", ".join(one.inci_name for one in self.ingredients)


@dataclass(slots=True)
class _Sum:
    """What has been added up under one name."""

    name: str
    largest: Fraction = Fraction(0)
    percent: Fraction = Fraction(0)
    colourant: bool = False
    materials: dict[str, None] = field(default_factory=dict)

    def add(self, name: str, percent: Fraction, material: str) -> None:
        # The spelling of the material that brings most of it.
        if percent > self.largest:
            self.name, self.largest = name, percent
        self.percent += percent
        self.materials[material] = None


Mixture = Mapping[str, Fraction]


def broken_up(whole: str, mixtures: Mapping[str, Mixture]) -> dict[str, Fraction]:
    """Percent of the whole that each thing is which is no mixture itself.

    `mixtures` give the parts of the whole and of each mixture under it by any one measure of mass;
    what is lost of a mixture is taken to be lost of all its parts alike. None contains itself.
    """
    shares: dict[str, Fraction] = {whole: Fraction(100)}
    leaves: dict[str, Fraction] = {}
    for current in _wholes_first(whole, mixtures):
        share, parts = shares.get(current, Fraction(0)), mixtures[current]
        total = sum(parts.values(), Fraction(0))
        if not total:
            continue
        for part, amount in parts.items():
            found = shares if part in mixtures else leaves
            found[part] = found.get(part, Fraction(0)) + share * amount / total
    return leaves


def declare(
    percents: Mapping[str, Fraction],
    stated: Mapping[str, Stated],
    *,
    use: str = "",
    market: Market = Market.EU,
    water_lost_percent: Decimal = Decimal(0),
) -> Declaration:
    """The declaration of a product from the percent of each material in it.

    `use` is leave_on or rinse_off; unsaid, the stricter threshold holds. `water_lost_percent` is
    what boils off of all that is weighed in. Raises InciMissing and CompositionMissing, naming the
    materials, NothingDeclared, and WaterLostTooMuch.
    """
    present = {id: share for id, share in percents.items() if share and not stated[id].absent}
    _refuse_unnamed(stated[id] for id in present)
    sums = _summed(present, stated)
    _boil_off(sums, Fraction(water_lost_percent))
    total = sum((one.percent for one in sums.values()), Fraction(0))
    if not total:
        raise NothingDeclared
    threshold = NAMED_ABOVE.get(use, NAMED_ABOVE["leave_on"])
    allergens = _allergens(present, stated, sums, threshold, total)
    ingredients = [
        Ingredient(
            _name(one.name, market),
            100 * one.percent / total,
            _group(one, 100 * one.percent / total, market),
            tuple(one.materials),
        )
        for one in sums.values()
    ]
    if market is Market.EU:
        ingredients += _named(allergens, sums)
    ingredients.sort(key=lambda one: (*_place(one), one.inci_name.casefold()))
    notes = _notes(ingredients, use, market, bool(allergens), water_lost_percent)
    return Declaration(tuple(ingredients), allergens, threshold, notes)


def must_be_named(percent: Decimal | Fraction, use: str) -> bool:
    """Whether an allergen at so many percent of the product must be named: above the threshold."""
    return Fraction(percent) > NAMED_ABOVE[use]


def key_of(inci_name: str) -> str:
    """What two spellings of one INCI name have in common."""
    plain = re.sub(r"\s*/\s*", "/", " ".join(inci_name.split()).casefold())
    plain = re.sub(r"^(aqua|water) \((aqua|water)\)$", "aqua", plain)
    return next((eu.casefold() for eu, _, names in _SAME if plain in names), plain)


def shown(percent: Fraction) -> Decimal:
    """A percent to six decimals."""
    return (Decimal(percent.numerator) / Decimal(percent.denominator)).quantize(MICRO)


def _wholes_first(whole: str, mixtures: Mapping[str, Mixture]) -> list[str]:
    """The whole and the mixtures under it, each before its parts; with a stack of its own."""
    done: dict[str, None] = {}
    path: list[tuple[str, list[str]]] = [(whole, list(mixtures[whole]))]
    while path:
        current, parts = path[-1]
        if not parts:
            done[current] = None
            path.pop()
            continue
        part = parts.pop()
        if part in mixtures and part not in done:
            path.append((part, list(mixtures[part])))
    return list(reversed(done))


def _refuse_unnamed(materials: Iterable[Stated]) -> None:
    unnamed = [one for one in materials if not one.parts]
    missing = sorted({one.name for one in unnamed if not one.inci_name.strip()})
    if missing:
        raise InciMissing(names=", ".join(missing), materials=missing)
    blends = sorted({one.name for one in unnamed if re.search(r"\(and\)|;", one.inci_name, re.I)})
    if blends:
        raise CompositionMissing(names=", ".join(blends), materials=blends)


def _summed(percents: Mapping[str, Fraction], stated: Mapping[str, Stated]) -> dict[str, _Sum]:
    """Percent by what names have in common; composites are broken up."""
    sums: dict[str, _Sum] = {}
    for id, percent in percents.items():
        material = stated[id]
        for part in material.parts or (Part(material.inci_name, Decimal(100)),):
            name = " ".join(part.inci_name.split())
            key = key_of(name)
            one = sums.setdefault(key, _Sum(name))
            one.add(name, percent * Fraction(part.percent) / 100, material.name)
            single = material.colourant and not material.parts
            one.colourant |= single or _COLOUR_INDEX.match(key) is not None
    return sums


def _boil_off(sums: dict[str, _Sum], lost: Fraction) -> None:
    if not lost:
        return
    water = sums.get(_WATER)
    if water is None or water.percent <= lost:
        there = shown(water.percent if water else Fraction(0)).normalize()
        raise WaterLostTooMuch(there=f"{there:f}", pointer="/water_lost_percent")
    water.percent -= lost


def _allergens(
    percents: Mapping[str, Fraction],
    stated: Mapping[str, Stated],
    sums: Mapping[str, _Sum],
    threshold: Fraction,
    total: Fraction,
) -> tuple[Allergen, ...]:
    """Each allergen over all materials: by the certificate, or by the composition where a
    material's certificate does not speak of it."""
    found: dict[str, _Sum] = {}
    for id, percent in percents.items():
        for part in stated[id].allergens:
            one = found.setdefault(key_of(part.inci_name), _Sum(part.inci_name))
            share = percent * Fraction(part.percent) / 100
            one.add(" ".join(part.inci_name.split()), share, stated[id].name)
    for id, percent in percents.items():
        material = stated[id]
        certified = {key_of(part.inci_name) for part in material.allergens}
        for part in material.parts or (Part(material.inci_name, Decimal(100)),):
            key = key_of(part.inci_name)
            if key in found and key not in certified:
                found[key].percent += percent * Fraction(part.percent) / 100
    allergens = [
        Allergen(
            sums[key].name if key in sums else one.name,
            100 * one.percent / total,
            100 * one.percent / total > threshold,
        )
        for key, one in found.items()
    ]
    return tuple(sorted(allergens, key=lambda one: (-one.percent, one.inci_name.casefold())))


def _named(allergens: Iterable[Allergen], sums: Mapping[str, _Sum]) -> list[Ingredient]:
    """Allergens above the threshold that are no ingredient by themselves."""
    return [
        Ingredient(
            one.inci_name,
            one.percent,
            Group.ABOVE if one.percent >= ONE_PERCENT else Group.UP_TO,
            (),
        )
        for one in allergens
        if one.named and key_of(one.inci_name) not in sums
    ]


def _group(one: _Sum, percent: Fraction, market: Market) -> Group:
    """The EU frees what is below 1 %, the US what is at 1 % or below."""
    if one.colourant:
        return Group.COLOURANT
    above = percent > ONE_PERCENT or (percent == ONE_PERCENT and market is Market.EU)
    return Group.ABOVE if above else Group.UP_TO


def _place(one: Ingredient) -> tuple[bool, Fraction]:
    return one.group is Group.COLOURANT, -one.percent


def _name(name: str, market: Market) -> str:
    key = key_of(name)
    for eu, us, _ in _SAME:
        if key == eu.casefold():
            return eu if market is Market.EU else us
    return name


def _notes(
    ingredients: list[Ingredient], use: str, market: Market, allergens: bool, water_lost: Decimal
) -> tuple[str, ...]:
    notes: list[str] = [
        Sentence("A record and calculator, not a safety assessment; check your local authority.")
    ]
    if water_lost:
        notes.append(
            Sentence(
                "Water that boils off: {percent:f} % of what is weighed in.", percent=water_lost
            )
        )
    if market is Market.EU and not use:
        notes.append(
            Sentence(
                "The product does not say whether it is left on or rinsed off, so the stricter"
                " threshold of allergens holds."
            )
        )
    if market is Market.EU and allergens:
        notes.append(
            "The longer list of allergens of Regulation (EU) 2023/1545 holds from 31 July 2026 for"
            " what is first sold then, and from 31 July 2028 for all that is sold (its Art. 1, from"
            " memory). Which names are on it is not kept here: what certificates state is listed."
        )
    if market is Market.US and allergens:
        notes.append(
            Sentence(
                "In the US a fragrance may be declared as such; which of its allergens must be"
                " named is still to be ruled (FD&C Act section 609), so they are only listed apart."
            )
        )
    if any(key_of(one.inci_name) in _LYE and one.percent > ONE_PERCENT for one in ingredients):
        notes.append(
            Sentence(
                "Declared as added: where lye makes soap of oils, the names of the soaps may stand"
                " instead of oil and lye, which is not worked out here."
            )
        )
    return tuple(notes)
