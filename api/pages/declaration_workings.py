"""Where the percent of a name on a label comes from: which materials bring it, and by which way."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as said

from api.pages.reader import Reader
from api.pages.workings import Line
from formulas.declaration import Declaration, Part, Stated, key_of, shown
from formulas.declaring import Mixed, Way
from formulas.unit_costs import shared_out

Ways = Mapping[str, Sequence[Way]]
# A material, and how much of it in percent is what is told of.
Brought = tuple[str, Decimal]
ALL = Decimal(100)


def declared_told(declared: Declaration, mixed: Mixed, reader: Reader) -> list[Line]:
    """Each ingredient by what brings it, and each allergen that is none of them by itself."""
    ways = mixed.ways()
    listed = {key_of(one.inci_name) for one in declared.ingredients if one.materials}
    told = []
    for one in declared.ingredients:
        if one.materials:
            brought = _named(one.inci_name, ways, mixed)
            told.append(_line(one.inci_name, one.shown, brought, ways, mixed, reader))
    for allergen in declared.allergens:
        name, percent = allergen.inci_name, shown(allergen.percent)
        brought = _certified(name, ways, mixed)
        if key_of(name) in listed:
            name = said("%(name)s, as an allergen") % {"name": name}
        told.append(_line(name, percent, brought, ways, mixed, reader))
    return told


def _parts(of: Stated) -> Iterable[Part]:
    return of.parts or (Part(of.inci_name, ALL),)


def _named(name: str, ways: Ways, mixed: Mixed) -> list[Brought]:
    """The materials that are called so, or have a part that is."""
    return [
        (id, part.percent)
        for id in ways
        for part in _parts(mixed.of(id))
        if key_of(part.inci_name) == key_of(name)
    ]


def _certified(name: str, ways: Ways, mixed: Mixed) -> list[Brought]:
    """The same of an allergen: by certificate, or by composition where that says nothing of it."""
    found: list[Brought] = []
    for id in ways:
        of = mixed.of(id)
        stated = [one for one in of.allergens if key_of(one.inci_name) == key_of(name)]
        parts = stated or [one for one in _parts(of) if key_of(one.inci_name) == key_of(name)]
        found += [(id, one.percent) for one in parts]
    return found


def _line(
    name: str,
    percent: Decimal,
    brought: Sequence[Brought],
    ways: Ways,
    mixed: Mixed,
    reader: Reader,
) -> Line:
    """So much of the product: what each material brings, and what it is more as water boils off."""
    exact = [_whole(ways[id]) * Fraction(part) / 100 for id, part in brought]
    before = shown(sum(exact, Fraction(0)))
    parts = [
        _brought(mixed.of(id).name, amount, part, ways[id], reader)
        for (id, part), amount in zip(brought, shared_out(before, exact), strict=True)
    ]
    if percent != before:
        parts.append(Line(said("since water boils off"), percent - before, "%"))
    return Line(name, percent, "%", parts=tuple(parts))


def _brought(
    name: str, amount: Decimal, part: Decimal, ways: Sequence[Way], reader: Reader
) -> Line:
    how = ""
    if part != ALL:
        how = f"{reader.whole_percent(shown(_whole(ways)))} · {reader.whole_percent(part)}"
    if all(not way.within for way in ways):
        return Line(name, amount, "%", how=how)
    return Line(name, amount, "%", how=how, parts=tuple(_by_way(amount, ways, reader)))


def _by_way(amount: Decimal, ways: Sequence[Way], reader: Reader) -> Iterator[Line]:
    told = reader.whole_percent
    amounts = shared_out(amount, [way.percent for way in ways])
    for way, much in zip(ways, amounts, strict=True):
        if way.within:
            name = said("within %(made)s") % {"made": way.within}
            how = f"{told(shown(way.share))} · {told(shown(way.part))}"
            yield Line(name, much, "%", how=how)
        else:
            yield Line(said("as it is"), much, "%")


def _whole(ways: Iterable[Way]) -> Fraction:
    return sum((way.percent for way in ways), Fraction(0))
