"""How the figures of a fill came about: its weights, what is given away, where the bulk went, and
what a batch yielded."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.reader import Reader
from api.pages.workings import Line, Working, address
from formulas.access import batch_for
from formulas.fill_reading import UnitsSeen, weighed_by_material
from formulas.fill_targets import ONE_IN_40, ONE_IN_10000, Floor, Giveaway, Target
from formulas.finishing import yield_of
from formulas.leftovers import Reconciliation
from formulas.models import Batch, Filling, Making
from formulas.net_contents import Limits
from formulas.unit_weighings import Checked
from ledger.access import Actor

ZERO: Final = Decimal(0)


def _above_nominal(checked: Checked, reader: Reader) -> Line:
    """What a piece gives away, of which all else follows: the mean less nominal, or nothing."""
    row = checked.row
    nets = [Decimal(one["net"]) for one in row.contents]
    mean = f"{reader.number(sum(nets, ZERO))} g ÷ {row.units}"
    parts = [
        Line(said("mean"), row.mean_grams, "g", how=mean),
        Line(said("less nominal"), -row.nominal_grams, "g"),
    ]
    if row.mean_grams < row.nominal_grams:
        lacks = row.nominal_grams - row.mean_grams
        parts.append(Line(said("below nominal nothing is given away"), lacks, "g"))
    return Line(said("A piece"), checked.batch.per_unit, "g", parts=tuple(parts))


def weighed(checked: Checked, limits: Limits | None, reader: Reader) -> list[Line]:
    """What the weights come to, and what the rule makes of that."""
    row, number = checked.row, reader.number
    nets = [Decimal(one["net"]) for one in row.contents]
    mean = f"{number(sum(nets, ZERO))} g ÷ {number(row.units)}"
    told = [Line(said("Mean"), row.mean_grams, "g", how=mean)]
    if row.deviation_grams is not None:
        squares = sum(((net - row.mean_grams) ** 2 for net in nets), ZERO)
        how = f"√({number(squares, 4)} g² ÷ {number(row.units - 1)})"
        told.append(Line(said("Spread"), row.deviation_grams, "g", how=how))
    if limits is not None:
        told.append(_limit(said("Few may be below"), limits.short, limits))
        told.append(_limit(said("None may be below"), limits.least, limits))
        if checked.target is not None:
            told.append(_target(checked.target, limits, checked, reader))
    return told


def _limit(name: str, limit: Decimal, limits: Limits) -> Line:
    lacks = Line(said("less what may be lacking"), limit - limits.nominal, "g")
    return Line(name, limit, "g", parts=(Line(said("nominal"), limits.nominal, "g"), lacks))


def _target(target: Target, limits: Limits, checked: Checked, reader: Reader) -> Line:
    """The limit that decides the lowest target, and how far the spread keeps it above that."""
    number, row = reader.number, checked.row
    name, grams, reach = {
        Floor.MEAN: (said("nominal"), limits.nominal, ONE_IN_40),
        Floor.SHORT: (said("few may be below"), limits.short, ONE_IN_40),
        Floor.LEAST: (said("none may be below"), limits.least, ONE_IN_10000),
    }[target.governed_by]
    how = f"{number(row.deviation_grams or ZERO)} g · {number(reach)}"
    if target.governed_by is Floor.MEAN:
        how += f" ÷ √{number(row.lot_units)}"
    above = said("so far the spread reaches, up to the next hundredth")
    parts = (Line(name, grams, "g"), Line(above, target.grams - grams, "g", how=how))
    return Line(said("Lowest target"), target.grams, "g", parts=parts)


def giveaway(seen: UnitsSeen, checked: Checked, reader: Reader, *, costs: bool) -> list[Line]:
    """Each figure of what is given away, with the numbers that were multiplied."""
    given = [
        (said("A piece"), seen.each),
        (said("This lot"), checked.batch),
        (said("A year like the last"), checked.year),
        (said("Saved in a year at the lowest target"), checked.saving_year),
    ]
    lines = [_above_nominal(checked, reader)]
    for name, one in given:
        if one is None:
            continue
        if one is not seen.each:
            lines.append(_in_grams(name, one, checked, reader))
        if costs and one.money is not None and one.value_per_gram is not None:
            each = f"{reader.number(one.value_per_gram)} {reader.currency}"
            how = f"{reader.number(one.grams)} g · {each}"
            lines.append(Line(name, one.money, reader.currency, how=how))
    return lines


def _in_grams(name: str, one: Giveaway, checked: Checked, reader: Reader) -> Line:
    """Grams of so many pieces; what is saved is the mean above the lowest target."""
    number = reader.number
    how = f"{number(one.per_unit)} g · {number(one.units)}"
    if one is checked.saving_year and checked.target is not None:
        mean, target = number(checked.row.mean_grams), number(checked.target.grams)
        how = f"({mean} g - {target} g) · {number(one.units)}"
    return Line(name, one.grams, "g", how=how)


def bulk(fill: Filling, found: Reconciliation, reader: Reader) -> list[Line]:
    """What was filled, and what nobody can explain: all that went in, less all that is named."""
    if found.unexplained is None or found.filled is None:
        return []
    good = fill.units - fill.sample_units
    each = reader.number(found.filled / good if good else ZERO)
    named = [
        (said("less what was filled"), -found.filled),
        (said("less samples"), -(found.samples or ZERO)),
        (said("less what was left in the filler"), -found.heel),
        (said("less what was rejected"), -found.rejects),
    ]
    parts = [Line(said("bulk that went in"), found.bulk_in, "g")]
    parts += [Line(name, grams, "g") for name, grams in named if grams]
    return [
        Line(said("Filled"), found.filled, "g", how=f"{each} g · {reader.number(good)}"),
        Line(said("Not explained"), found.unexplained, "g", parts=tuple(parts)),
    ]


class BatchYield(Working):
    """What a batch yielded, of what was weighed in and of its plan; opened in place."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = batch_for(self.actor, id)
        figure = yielded(self.actor, batch, self.reader)
        return self.opened(figure, address("batches", id), batch.code)


def yielded(actor: Actor, batch: Batch, reader: Reader) -> Line:
    """Of a batch that is not finished, what is weighed in so far."""
    weighed, making = weighed_by_material(actor, batch), batch.making
    whole = sum((grams for *_, grams in weighed), ZERO)
    parts = [_weighed(weighed, whole if making is None else making.weighed_grams)]
    if making is not None:
        parts = [*_percents(making, batch, reader), *parts]
    return Line(said("How much came out"), parts=tuple(parts))


def _percents(making: Making, batch: Batch, reader: Reader) -> Iterable[Line]:
    told, out = yield_of(making, batch), f"{reader.number(making.output_grams)} g ÷ "
    into, planned = reader.number(making.weighed_grams), reader.number(batch.output_grams)
    yield Line(said("Yield"), told.yield_percent, "%", how=f"{out}{into} g")
    yield Line(said("Against plan"), told.plan_percent, "%", how=f"{out}{planned} g")


def _weighed(weighed: Sequence[tuple[UUID, str, Decimal]], whole: Decimal) -> Line:
    """What was weighed in, by material; what a count found in the pot is one more line."""
    lines = [
        Line(name, grams, "g", to=address("materials", material))
        for material, name, grams in weighed
    ]
    counted = whole - sum((grams for *_, grams in weighed), ZERO)
    if counted:
        lines.append(Line(said("changed by counts"), counted, "g"))
    return Line(said("Weighed in"), whole, "g", parts=tuple(lines))
