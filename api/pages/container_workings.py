"""Where what a container holds comes from, and what is given away by filling it by eye."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from django.utils.translation import gettext as said

from api.pages.reader import Reader
from api.pages.workings import Line
from formulas.containers import beyond_nominal, by_eye
from formulas.fill_targets import Giveaway
from formulas.leaks import Leak
from formulas.models import Container, WaterFilling

ZERO = Decimal(0)


def held_told(row: Container, fills: Sequence[WaterFilling], reader: Reader) -> list[Line]:
    """What may be filled, what is beyond nominal, and the mean of each fill, the latest first."""
    means = [_mean(one, reader) for one in fills]
    return [*_may_be_filled(row, reader), *_beyond(row, reader), *means]


def _mean(fill: WaterFilling, reader: Reader) -> Line:
    """The millilitres of all pieces by their number; what a piece holds is its water, weighed."""
    brimful = fill.level == Container.Level.BRIMFUL
    name = said("To the brim, on the mean") if brimful else said("To its level, on the mean")
    held = [Decimal(one["millilitres"]) for one in fill.pieces]
    how = f"{reader.number(sum(held, ZERO))} mL ÷ {reader.number(Decimal(len(held)))}"
    return Line(name, fill.mean_ml, "mL", how=f"{reader.day(fill.happened_at)} · {how}")


def _may_be_filled(row: Container, reader: Reader) -> Iterator[Line]:
    if row.usable_ml is None:
        return
    how = said("the least of the pieces")
    if row.usable_least is None and row.brimful_least is not None:
        empty = reader.percent(row.headspace_percent)
        brim = f"{reader.number(row.brimful_least)} mL"
        how = said("%(brim)s to the brim in the least of them, and %(empty)s stays empty") % {
            "brim": brim,
            "empty": empty,
        }
    yield Line(said("May be filled, by the smallest"), row.usable_ml, "mL", how=how)


def _beyond(row: Container, reader: Reader) -> Iterator[Line]:
    beyond, mean = beyond_nominal(row), by_eye(row)
    if beyond is None or mean is None:
        return
    more, percent = beyond
    parts = (
        Line(said("filled by eye, on the mean"), mean, "mL"),
        Line(said("less what it is sold as holding"), -row.nominal_ml, "mL"),
    )
    yield Line(said("More than it says"), more, "mL", parts=parts)
    how = f"{reader.number(more)} mL ÷ {reader.number(row.nominal_ml)} mL"
    yield Line(said("More than it says, in percent"), percent, "%", how=how)


def leaks_told(leaks: Iterable[Leak], reader: Reader) -> list[Line]:
    """What products give away: millilitres at their density, at what their materials cost."""
    return [line for one in leaks for line in _leak(one, reader)]


def _leak(leak: Leak, reader: Reader) -> Iterator[Line]:
    product, number = {"product": leak.product.name}, reader.number
    piece = said("%(product)s: a piece") % product
    how = said("what its containers hold on the mean, less what its label says")
    yield Line(piece, leak.millilitres, "mL", how=how)
    if leak.piece is None or leak.year is None:
        return
    density = (leak.piece.grams / leak.millilitres).normalize()
    how = f"{number(leak.millilitres)} mL · {number(density)} g/mL"
    yield Line(piece, leak.piece.grams, "g", how=how)
    yield from _money(piece, leak.piece, reader)
    year = said("%(product)s: a year") % product
    how = f"{number(leak.year.per_unit)} g · {number(Decimal(leak.year.units))}"
    yield Line(year, leak.year.grams, "g", how=how)
    yield from _money(year, leak.year, reader)


def _money(name: str, one: Giveaway, reader: Reader) -> Iterator[Line]:
    if one.money is not None and one.value_per_gram is not None:
        each = f"{reader.number(one.value_per_gram)} {reader.currency}"
        how = f"{reader.number(one.grams)} g · {each}"
        yield Line(name, one.money, reader.currency, how=how)
